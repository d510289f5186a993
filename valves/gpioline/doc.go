// Package gpioline drives valve lines through the kernel's GPIO character
// device, uAPI version 2, behind periph's gpio.PinOut.
//
// It exists because an output that opens a valve may never glitch. The level
// is given with the line request itself, so a line goes from whatever it was
// straight to closed; it is read back from the output latch without changing
// its direction; and a line that somebody else holds is an error that names
// the holder, after which the next attempt succeeds as soon as it is free.
//
// A line is requested by its first Out and held until Close. What the level is
// after Close, or after the process dies, is up to the kernel's driver: fit an
// external pull resistor that means closed, and normally closed valves.
//
// The chip is chosen by its label, which stays the same from boot to boot, as
// the number in /dev/gpiochipN need not.
//
// The ABI is linux/gpio.h of the kernel's user-space headers.
package gpioline

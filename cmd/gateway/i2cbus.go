package main

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
)

// i2cDevices is where the kernel shows I²C buses and what is on them.
const i2cDevices = "/sys/bus/i2c/devices"

// muxChannel is a bus behind a multiplexer, by where that is: 1-0070/channel-2 is
// channel 2 of the one at address 0x70 of bus 1.
var muxChannel = regexp.MustCompile(`^[0-9]+-00[0-9a-f]{2}/channel-[0-9]+$`)

// busNumber is the number N of the bus /dev/i2c-N. A bus is named so, or by N, or
// where a multiplexer's driver in the kernel makes it, by the multiplexer and its
// channel: those buses are numbered in the order in which they appear.
func busNumber(name, devices string) (int, error) {
	if n, ok := numbered(name, "/dev/i2c-%d"); ok {
		return n, nil
	}
	if n, ok := numbered(name, "%d"); ok {
		return n, nil
	}
	if !muxChannel.MatchString(name) {
		return 0, fmt.Errorf("I²C bus %q: expected a name such as /dev/i2c-1, or 1-0070/channel-2 behind a multiplexer", name)
	}
	to, err := os.Readlink(filepath.Join(devices, name))
	if err != nil {
		return 0, fmt.Errorf("I²C bus %s: %w; does the board's device tree name the multiplexer, and does it answer?", name, err)
	}
	if n, ok := numbered(filepath.Base(to), "i2c-%d"); ok {
		return n, nil
	}
	return 0, fmt.Errorf("I²C bus %s: the kernel shows %q there, expected a bus such as i2c-11", name, to)
}

// numbered reads the number out of a name of that form.
func numbered(name, form string) (int, bool) {
	var n int
	var rest string
	k, _ := fmt.Sscanf(name, form+"%s", &n, &rest)
	return n, k == 1 && n >= 0
}

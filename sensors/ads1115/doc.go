// Package ads1115 drives the ADS1115, a four-input 16-bit converter on I²C, on
// any i2c.Bus.
//
// Every Read is one single-shot conversion: the configuration word of the
// channel, computed once in New, starts it; the ready bit is polled until the
// conversion is done; the result is fetched. The chip's clock may run 10 % slow,
// so a fixed wait would sometimes return the sample before (datasheet, "Data
// rate" and "Electrical characteristics"). Each poll returns the whole
// configuration register, which is compared with what was written: a chip that
// lost its supply for a moment comes back with its reset word and would
// otherwise go on to measure another input at another scale. That is ErrReset.
//
// Volts are against ground. Inputs must stay within the chip's supply, 3.3 V on
// most boards, whatever full scale is chosen.
//
// Caller duties: one goroutine at a time per Dev (several Devs may share a bus
// whose Tx is safe for that); hand in a Waiter that sleeps on the same clock the
// bus lives on; after any error call Read again, since each Read starts from
// nothing, or make a new Dev when errors persist.
//
// Source: Texas Instruments, "ADS111x Ultra-Small, Low-Power,
// I²C-Compatible, 860-SPS, 16-Bit ADCs", SBAS444D.
package ads1115

package ads1115

import (
	"fmt"
	"time"
)

// Registers and the fields of the configuration register, SBAS444D section
// "Register map".
const (
	regConversion = 0
	regConfig     = 1

	osStart      = 0x8000 // written: start a conversion; read: idle
	muxGround    = 4 << 12
	modeSingle   = 1 << 8
	compDisabled = 3
	// resetWord is the configuration after power-on (SBAS444D: reset = 8583h).
	resetWord = 0x8583

	channels = 4
)

// fullScales are the ranges in volts by the value of the PGA field.
var fullScales = [...]float64{6.144, 4.096, 2.048, 1.024, 0.512, 0.256}

// rates are the data rates in samples per second by the value of the DR field.
var rates = [...]int{8, 16, 32, 64, 128, 250, 475, 860}

// Opts are the settings of a Dev. The zero value is ready to use.
type Opts struct {
	// FullScaleV is the range, ±V: 6.144, 4.096, 2.048, 1.024, 0.512 or 0.256;
	// 0 means 4.096, which covers a probe supplied with 3.3 V.
	FullScaleV float64
	// SPS is the data rate in samples per second: 8, 16, 32, 64, 128, 250, 475
	// or 860; 0 means 860. Slower rates average more inside the chip.
	SPS int
}

// fields returns the PGA and DR field values for the options.
func (o Opts) fields() (pga, dr int, err error) {
	if o.FullScaleV == 0 {
		o.FullScaleV = 4.096
	}
	if o.SPS == 0 {
		o.SPS = 860
	}
	pga, dr = -1, -1
	for i, v := range fullScales {
		if v == o.FullScaleV {
			pga = i
		}
	}
	for i, r := range rates {
		if r == o.SPS {
			dr = i
		}
	}
	if pga < 0 {
		return 0, 0, fmt.Errorf("full scale %g V, expected one of %v", o.FullScaleV, fullScales)
	}
	if dr < 0 {
		return 0, 0, fmt.Errorf("data rate %d samples per second, expected one of %v", o.SPS, rates)
	}
	return pga, dr, nil
}

// word is the configuration that starts one conversion of a channel against
// ground.
func word(channel, pga, dr int) uint16 {
	return osStart | muxGround | uint16(channel)<<12 | uint16(pga)<<9 | modeSingle | uint16(dr)<<5 | compDisabled
}

// The waiting plan: one nominal conversion and the wake-up from power-down, then
// polls a tenth of a conversion apart. maxPolls of them make the whole wait more
// than twice the nominal time, so a clock 10 % slow is far from the limit and a
// chip that never finishes is known within a few milliseconds.
const (
	wakeUp   = 50 * time.Microsecond // about 25 µs are typical
	maxPolls = 14
)

func waits(dr int) (first, poll time.Duration) {
	nominal := time.Second / time.Duration(rates[dr])
	return nominal + wakeUp, max(nominal/10, 100*time.Microsecond)
}

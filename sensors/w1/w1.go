// Package w1 reads 1-wire thermometers through the files of the kernel's driver.
//
// The kernel shows each device as a folder below /sys/bus/w1/devices, named by its
// family and serial number, such as 28-0316a2794bff. Reading its file w1_slave
// makes the thermometer measure, which takes up to three quarters of a second, and
// gives two lines of the nine bytes that came back:
//
//	72 01 4b 46 7f ff 0e 10 57 : crc=57 YES
//	72 01 4b 46 7f ff 0e 10 57 t=23125
//
// YES says that the checksum was right, t is thousandths of a degree (the kernel's
// Documentation/w1/slaves/w1_therm.rst).
package w1

import (
	"errors"
	"fmt"
	"io/fs"
	"regexp"
	"strconv"
	"strings"
)

// Devices is where the kernel shows them.
const Devices = "/sys/bus/w1/devices"

// Range of the thermometer, °C (data sheets of the family).
const (
	LeastC = -55.0
	MostC  = 125.0
)

// What a reading is worth nothing for.
var (
	// ErrChecksum: the bytes were garbled on the wire.
	ErrChecksum = errors.New("the checksum is wrong: look at cable and pull-up")
	// ErrPowerOn: 85 °C is what the chip holds before its first measurement, and
	// no mix is that hot.
	ErrPowerOn = errors.New("85 °C is what it holds after power came on: its supply is weak or fell out")
	// ErrUnplugged: all ones, which programs and kernels show as -127 °C or as
	// just under 0 °C with every byte ff.
	ErrUnplugged = errors.New("nothing answered: unplugged, or its data line hangs")
)

// id is a device's name: the families of thermometers, then the serial number.
var id = regexp.MustCompile(`^(10|22|28|3b|42)-[0-9a-f]{12}$`)

// ValidID reports whether s can be a thermometer's name.
func ValidID(s string) bool { return id.MatchString(s) }

// Thermometer is one of them.
type Thermometer struct {
	devices fs.FS
	id      string
}

// New returns the thermometer of that name below devices. Nothing is read before
// the first Read.
func New(devices fs.FS, id string) (*Thermometer, error) {
	if devices == nil || !ValidID(id) {
		return nil, fmt.Errorf("1-wire thermometer %q: expected a name such as 28-0316a2794bff", id)
	}
	return &Thermometer{devices: devices, id: id}, nil
}

// Read measures, °C. An error names the thermometer and gives no value.
func (t *Thermometer) Read() (float64, error) {
	text, err := fs.ReadFile(t.devices, t.id+"/w1_slave")
	if err == nil {
		var c float64
		if c, err = Parse(string(text)); err == nil {
			return c, nil
		}
	}
	return 0, fmt.Errorf("1-wire thermometer %s: %w", t.id, err)
}

// mostText is longer than any answer.
const mostText = 1024

// Parse makes °C of what w1_slave holds.
func Parse(text string) (float64, error) {
	lines := strings.Split(strings.TrimRight(text, "\n"), "\n")
	if len(text) > mostText || len(lines) != 2 {
		return 0, fmt.Errorf("%d lines, expected the two of w1_slave", len(lines))
	}
	raw, verdict, ok := strings.Cut(lines[0], " : crc=")
	switch {
	case !ok:
		return 0, errors.New("no checksum in the first line, expected BYTES : crc=xx YES")
	case strings.HasPrefix(raw, "ff ff ff ff ff ff ff ff ff"):
		// The checksum of nothing but ones fits in some kernels.
		return 0, ErrUnplugged
	case !strings.HasSuffix(verdict, " YES"):
		return 0, ErrChecksum
	}
	_, value, ok := strings.Cut(lines[1], "t=")
	if !ok {
		return 0, errors.New("no temperature in the second line, expected BYTES t=MILLIDEGREES")
	}
	milli, err := strconv.Atoi(value)
	switch c := float64(milli) / 1000; {
	case err != nil:
		return 0, fmt.Errorf("temperature %.20q, expected thousandths of a degree", value)
	case milli == 85_000:
		return 0, ErrPowerOn
	case milli == -127_000:
		return 0, ErrUnplugged
	case c < LeastC || c > MostC:
		return 0, fmt.Errorf("%.3f °C, expected %.0f to %.0f °C", c, LeastC, MostC)
	default:
		return c, nil
	}
}

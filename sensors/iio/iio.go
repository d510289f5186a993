// Package iio reads converters that a driver of the kernel serves, through the
// files of its industrial I/O subsystem.
//
// The kernel shows each device as a folder iio:deviceN below /sys/bus/iio/devices.
// A channel's voltage is (raw + offset) · scale, in millivolts, from the files
// in_voltageN_raw, in_voltageN_scale or in_voltage_scale, and where there is one
// in_voltageN_offset or in_voltage_offset (the kernel's
// Documentation/ABI/testing/sysfs-bus-iio).
package iio

import (
	"errors"
	"fmt"
	"io/fs"
	"regexp"
	"strconv"
	"strings"

	"fabricpot/control/garden"
)

// Devices is where the kernel shows them.
const Devices = "/sys/bus/iio/devices"

// MostChannel is the highest channel a probe may hang on.
const MostChannel = 31

var (
	name   = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9:._-]{0,63}$`)
	folder = regexp.MustCompile(`^iio:device[0-9]+$`)
)

// ValidName reports whether s can name a device.
func ValidName(s string) bool { return name.MatchString(s) }

// Converter is one device.
type Converter struct {
	devices fs.FS
	folder  string
	called  string
}

// New finds a device by its folder (iio:device0), its label or its name, as the
// kernel's files of these names say. Numbers follow the order in which devices
// appear, so a label is better. Two devices of one name are an error.
func New(devices fs.FS, called string) (*Converter, error) {
	if devices == nil || !ValidName(called) {
		return nil, fmt.Errorf("converter of the kernel %q: expected a device's label or name, such as ads1015, or iio:device0", called)
	}
	all, err := fs.ReadDir(devices, ".")
	if err != nil {
		return nil, fmt.Errorf("converter of the kernel %s: %w; does the board's device tree name it?", called, err)
	}
	var found, have []string
	for _, e := range all {
		if !folder.MatchString(e.Name()) {
			continue
		}
		label, named := text(devices, e.Name()+"/label"), text(devices, e.Name()+"/name")
		have = append(have, strings.TrimSpace(e.Name()+" "+named+" "+label))
		if called == e.Name() || called == label || called == named {
			found = append(found, e.Name())
		}
	}
	switch len(found) {
	case 1:
		return &Converter{devices: devices, folder: found[0], called: called}, nil
	case 0:
		return nil, fmt.Errorf("converter of the kernel %s: not there; the kernel shows %s", called, orNone(have))
	}
	return nil, fmt.Errorf("converter of the kernel %s: there are several, %s: give them labels in the device tree", called, strings.Join(found, ", "))
}

func orNone(s []string) string {
	if len(s) == 0 {
		return "none"
	}
	return strings.Join(s, "; ")
}

// text is what a short file holds, empty where it can't be read.
func text(devices fs.FS, path string) string {
	b, err := fs.ReadFile(devices, path)
	if err != nil || len(b) > 256 {
		return ""
	}
	return strings.TrimSpace(string(b))
}

// ReadVolts converts a channel once, V.
func (c *Converter) ReadVolts(channel int) (garden.Volts, error) {
	v, err := c.read(channel)
	if err != nil {
		return 0, fmt.Errorf("converter of the kernel %s, channel %d: %w", c.called, channel, err)
	}
	return garden.Volts(v), nil
}

func (c *Converter) read(channel int) (float64, error) {
	if channel < 0 || channel > MostChannel {
		return 0, fmt.Errorf("expected a channel from 0 to %d", MostChannel)
	}
	raw, err := c.number(fmt.Sprintf("in_voltage%d_raw", channel))
	if err != nil {
		return 0, err
	}
	scale, err := c.either(channel, "scale")
	if err != nil {
		return 0, err
	}
	offset, err := c.either(channel, "offset")
	if errors.Is(err, fs.ErrNotExist) {
		offset, err = 0, nil
	}
	if err != nil {
		return 0, err
	}
	volts := (raw + offset) * scale / 1000
	if !garden.Finite(volts) || !(scale > 0) {
		return 0, fmt.Errorf("raw %v, offset %v and a scale of %v mV, expected a voltage", raw, offset, scale)
	}
	return volts, nil
}

// either reads a channel's own attribute, or that of all channels.
func (c *Converter) either(channel int, what string) (float64, error) {
	v, err := c.number(fmt.Sprintf("in_voltage%d_%s", channel, what))
	if errors.Is(err, fs.ErrNotExist) {
		return c.number("in_voltage_" + what)
	}
	return v, err
}

func (c *Converter) number(file string) (float64, error) {
	b, err := fs.ReadFile(c.devices, c.folder+"/"+file)
	if err != nil {
		return 0, err
	}
	v, err := strconv.ParseFloat(strings.TrimSpace(string(b[:min(len(b), 64)])), 64)
	if err != nil || !garden.Finite(v) {
		return 0, fmt.Errorf("%s holds %.20q, expected a number", file, b)
	}
	return v, nil
}

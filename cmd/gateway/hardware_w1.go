package main

import (
	"fmt"
	"io/fs"

	"fabricpot/sensors/w1"
)

// readThermometers reads the 1-wire thermometers of a device folder, as the driver
// reads those of a garden.
func readThermometers(devices fs.FS) []string {
	entries, err := fs.ReadDir(devices, ".")
	if err != nil {
		return nil
	}
	var out []string
	for _, e := range entries {
		t, err := w1.New(devices, e.Name())
		if err != nil {
			continue // the bus itself, or another kind of device
		}
		words := ""
		if c, err := t.Read(); err != nil {
			words = err.Error() // it names the thermometer
		} else {
			words = fmt.Sprintf("%s  %.1f °C", e.Name(), c)
		}
		out = append(out, words)
	}
	return out
}

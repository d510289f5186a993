package main

import (
	"fmt"
	"io/fs"
	"slices"
	"strconv"
	"strings"
)

// readThermometers reads the 1-wire thermometers of a device folder as the
// kernel's w1_therm driver lays it out: a folder per device whose name begins
// with the family, and in it "temperature" in thousandths of a degree.
func readThermometers(devices fs.FS) []string {
	entries, err := fs.ReadDir(devices, ".")
	if err != nil {
		return nil
	}
	families := []string{"10-", "22-", "28-", "3b-", "42-"}
	var out []string
	for _, e := range entries {
		if !slices.ContainsFunc(families, func(f string) bool { return strings.HasPrefix(e.Name(), f) }) {
			continue
		}
		out = append(out, fmt.Sprintf("%s  %s", e.Name(), thermometer(devices, e.Name())))
	}
	return out
}

// thermometer is one device's temperature in words.
func thermometer(devices fs.FS, name string) string {
	text, err := fs.ReadFile(devices, name+"/temperature")
	if err != nil {
		return "does not answer: " + err.Error()
	}
	milli, err := strconv.Atoi(strings.TrimSpace(string(text)))
	switch {
	case err != nil:
		return "does not answer"
	case milli == 85_000:
		// What the chip holds after power-up, before its first conversion.
		return "85.0 °C: only just powered, or its supply is weak"
	case milli < -55_000 || milli > 125_000:
		return fmt.Sprintf("%.1f °C: out of range", float64(milli)/1000)
	}
	return fmt.Sprintf("%.1f °C", float64(milli)/1000)
}

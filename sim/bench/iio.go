package bench

import (
	"fmt"
	"io/fs"
	"math"
	"strings"
	"time"
)

// IIOFault is what can be wrong with a converter that the kernel drives.
type IIOFault uint8

const (
	// IIOHealthy converts.
	IIOHealthy IIOFault = iota
	// IIOBusy: another program has the device.
	IIOBusy
	// IIOGone: the kernel has given it up.
	IIOGone
	// IIOSaturated: its reference is lost, and every channel shows full scale.
	IIOSaturated
)

// A 12-bit converter of 2 mV a count.
const (
	iioScaleMV = 2.0
	iioMost    = 2047
)

type iioDevice struct {
	name  string
	in    map[int]*Input
	fault IIOFault
}

// FailIIO sets or, with IIOHealthy, ends a fault; false for a converter the garden
// does not have.
func (b *Bench) FailIIO(name string, f IIOFault) bool {
	for _, d := range b.iio {
		if d.name == name {
			d.fault = f
			return true
		}
	}
	return false
}

func (b *Bench) iioDevice(name string) *iioDevice {
	for _, d := range b.iio {
		if d.name == name {
			return d
		}
	}
	d := &iioDevice{name: name, in: map[int]*Input{}}
	b.iio = append(b.iio, d)
	return d
}

// IIO is the folder in which the kernel would show the garden's converters that
// it drives.
func (b *Bench) IIO() fs.FS { return iioTree{b} }

type iioTree struct{ b *Bench }

// ReadDir lists the devices.
func (t iioTree) ReadDir(name string) ([]fs.DirEntry, error) {
	if name != "." {
		return nil, &fs.PathError{Op: "readdir", Path: name, Err: fs.ErrNotExist}
	}
	var out []fs.DirEntry
	for i, d := range t.b.iio {
		if d.fault != IIOGone {
			out = append(out, iioFolder(fmt.Sprintf("iio:device%d", i)))
		}
	}
	return out, nil
}

// Open gives a file of one device; opening a channel converts it.
func (t iioTree) Open(name string) (fs.File, error) {
	gone := &fs.PathError{Op: "open", Path: name, Err: fs.ErrNotExist}
	folder, file, _ := strings.Cut(name, "/")
	var n, channel int
	if k, _ := fmt.Sscanf(folder, "iio:device%d", &n); k != 1 || n < 0 || n >= len(t.b.iio) || t.b.iio[n].fault == IIOGone {
		return nil, gone
	}
	d := t.b.iio[n]
	text := func(s string) (fs.File, error) { return &w1File{Reader: strings.NewReader(s)}, nil }
	switch file {
	case "name":
		return text(d.name + "\n")
	case "in_voltage_scale":
		return text(fmt.Sprintf("%f\n", iioScaleMV))
	}
	in := (*Input)(nil)
	if k, _ := fmt.Sscanf(file, "in_voltage%d_raw", &channel); k == 1 && strings.HasSuffix(file, "_raw") {
		in = d.in[channel]
	}
	switch {
	case in == nil:
		return nil, gone
	case d.fault == IIOBusy:
		return nil, &fs.PathError{Op: "read", Path: name, Err: fmt.Errorf("device or resource busy")}
	}
	raw := math.Round(in.volts() * 1000 / iioScaleMV)
	if d.fault == IIOSaturated {
		raw = iioMost
	}
	return text(fmt.Sprintf("%d\n", int(min(max(raw, -iioMost-1), iioMost))))
}

type iioFolder string

func (f iioFolder) Name() string               { return string(f) }
func (iioFolder) IsDir() bool                  { return true }
func (iioFolder) Type() fs.FileMode            { return fs.ModeDir }
func (f iioFolder) Info() (fs.FileInfo, error) { return iioInfo{f}, nil }

type iioInfo struct{ iioFolder }

func (iioInfo) Size() int64        { return 0 }
func (iioInfo) Mode() fs.FileMode  { return fs.ModeDir | 0o555 }
func (iioInfo) ModTime() time.Time { return time.Time{} }
func (iioInfo) Sys() any           { return nil }

package bench

import (
	"fmt"
	"io/fs"
	"math"
	"strings"
	"time"

	"fabricpot/control/garden"
)

// ThermometerFault is what can be wrong with a 1-wire thermometer.
type ThermometerFault uint8

const (
	// ThermometerHealthy measures.
	ThermometerHealthy ThermometerFault = iota
	// ThermometerGarbled: the bytes arrive with a wrong checksum.
	ThermometerGarbled
	// ThermometerPowerOn: it says the 85 °C it holds after power came on.
	ThermometerPowerOn
	// ThermometerUnplugged: the line floats and every bit is one.
	ThermometerUnplugged
	// ThermometerGone: the kernel has given the device up.
	ThermometerGone
)

type thermometer struct {
	id    string
	zone  int
	depth float64
	fault ThermometerFault
}

// FailThermometer sets or, with ThermometerHealthy, ends a fault; false for a
// thermometer the garden does not have.
func (b *Bench) FailThermometer(id string, f ThermometerFault) bool {
	for i := range b.warm {
		if b.warm[i].id == id {
			b.warm[i].fault = f
			return true
		}
	}
	return false
}

// W1 is the folder in which the kernel would show the garden's thermometers, each
// half way down its zone's mix. Reading one measures now.
func (b *Bench) W1() fs.FS { return w1Tree{b} }

func (b *Bench) warmOf(p *garden.Pot, z *garden.Zone, zone int) {
	if z.Thermometer == "" {
		return
	}
	for i := range b.warm {
		if b.warm[i].id == z.Thermometer {
			return
		}
	}
	b.warm = append(b.warm, thermometer{id: z.Thermometer, zone: zone, depth: p.Shape.HeightCM / 2})
}

type w1Tree struct{ b *Bench }

// Open gives the file of one reading.
func (t w1Tree) Open(name string) (fs.File, error) {
	id, ok := strings.CutSuffix(name, "/w1_slave")
	for i := range t.b.warm {
		w := &t.b.warm[i]
		if !ok || w.id != id || w.fault == ThermometerGone {
			continue
		}
		t.b.Advance()
		return &w1File{Reader: strings.NewReader(w.text(t.b.terrace.TempAt(w.zone, w.depth)))}, nil
	}
	return nil, &fs.PathError{Op: "open", Path: name, Err: fs.ErrNotExist}
}

// text is what the kernel shows of a reading: nine bytes twice.
func (w *thermometer) text(c float64) string {
	sixteenths := int16(math.Round(16 * min(max(c, -55), 125)))
	switch w.fault {
	case ThermometerPowerOn:
		sixteenths = 85 * 16
	case ThermometerUnplugged:
		ones := strings.TrimSpace(strings.Repeat("ff ", 9))
		return ones + " : crc=c9 NO\n" + ones + " t=-62\n"
	}
	pad := []byte{byte(sixteenths), byte(uint16(sixteenths) >> 8), 0x4b, 0x46, 0x7f, 0xff, 0x0c, 0x10}
	crc := crc8(pad)
	raw, verdict := fmt.Sprintf("% x %02x", pad, crc), "YES"
	if w.fault == ThermometerGarbled {
		raw, verdict = fmt.Sprintf("% x %02x", pad, crc^0x5a), "NO"
	}
	return fmt.Sprintf("%s : crc=%02x %s\n%s t=%d\n", raw, crc, verdict, raw, int(sixteenths)*1000/16)
}

// crc8 is the 1-wire checksum, x⁸+x⁵+x⁴+1, least bit first.
func crc8(data []byte) byte {
	var crc byte
	for _, b := range data {
		for range 8 {
			mix := (crc ^ b) & 1
			crc >>= 1
			if mix != 0 {
				crc ^= 0x8c
			}
			b >>= 1
		}
	}
	return crc
}

type w1File struct{ *strings.Reader }

func (f *w1File) Stat() (fs.FileInfo, error) { return w1Info{f.Size()}, nil }
func (f *w1File) Close() error               { return nil }

type w1Info struct{ size int64 }

func (w1Info) Name() string       { return "w1_slave" }
func (i w1Info) Size() int64      { return i.size }
func (w1Info) Mode() fs.FileMode  { return 0o444 }
func (w1Info) ModTime() time.Time { return time.Time{} }
func (w1Info) IsDir() bool        { return false }
func (w1Info) Sys() any           { return nil }

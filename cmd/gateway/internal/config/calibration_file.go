package config

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"fabricpot/cmd/gateway/internal/units"
	"fabricpot/control/garden"
)

// calibrationDraft is a calibration file as written.
type calibrationDraft struct {
	garden.Calibration
	offsets []entry[float64]
}

// calibrationFileTable is the grammar of a calibration file: the keys of a
// calibration of the garden file, and an offset for each probe that has its own.
func calibrationFileTable() object[*calibrationDraft] {
	var fields []field[*garden.Calibration]
	for _, f := range calibrationTable().fields {
		if f.key != "file" {
			fields = append(fields, f)
		}
	}
	offset := of(quantity(units.Fraction(), -0.3, 0.3), self[float64])
	return object[*calibrationDraft]{"a calibration file", append(
		lift(fields, func(d *calibrationDraft) *garden.Calibration { return &d.Calibration }),
		field[*calibrationDraft]{"offsets", "further offsets by probe", false,
			byID("offsets", offset, zero[float64], func(d *calibrationDraft) *[]entry[float64] { return &d.offsets })},
	)}
}

// ReadCalibration reads a calibration file. name is what messages call it. The
// error, if any, is a Problems.
func ReadCalibration(name string, src []byte) (garden.Calibration, error) {
	r := &reader{
		src:     &Source{Name: name, places: map[string]place{}, aliases: map[string]string{}},
		unsound: map[string]bool{}, clashed: map[string]bool{},
	}
	root, ok := r.parse(src)
	if !ok {
		return garden.Calibration{}, r.failed()
	}
	// A level below the root, where the checks expect a calibration.
	const path = "calibration"
	r.src.places[path] = place{1, 1}
	d := calibrationDraft{Calibration: garden.Calibration{TempRefC: 20}}
	calibrationFileTable().read(r, root, path, &d)
	r.checkCalibration(path, d.Calibration)
	if len(r.problems) > 0 {
		return garden.Calibration{}, r.failed()
	}
	c := d.Calibration
	c.File = name
	for _, o := range d.offsets {
		if c.ProbeOffsets == nil {
			c.ProbeOffsets = map[garden.ProbeID]float64{}
		}
		c.ProbeOffsets[garden.ProbeID(o.id)] = o.value
	}
	return c, nil
}

// maxCalibrationBytes is far over what 500 points take.
const maxCalibrationBytes = 256 << 10

// calibrationFile puts what a calibration file says in place of the reference to
// it. An offset beside the reference is added.
func (r *reader) calibrationFile(path string, c *garden.Calibration) {
	if c.File == "" || !r.sound(path+".file") {
		return
	}
	name := filepath.Join(filepath.Dir(r.src.Name), c.File)
	src, err := readBeside(filepath.Dir(r.src.Name), c.File)
	if err != nil {
		r.say(path+".file", "the calibration file can't be read: "+err.Error(), quote(c.File), "a calibration file beside the garden file")
		return
	}
	read, err := ReadCalibration(name, src)
	if err != nil {
		r.spoil(path)
		var ps Problems
		if errors.As(err, &ps) {
			r.problems = append(r.problems, ps...)
		}
		return
	}
	read.OffsetWater += c.OffsetWater
	*c = read
}

// readBeside reads a file that lies in a folder or below it, never elsewhere.
func readBeside(dir, name string) ([]byte, error) {
	f, err := os.OpenInRoot(dir, name)
	if err != nil {
		var pe *os.PathError
		if errors.As(err, &pe) {
			err = pe.Err
		}
		return nil, err
	}
	defer f.Close()
	if info, err := f.Stat(); err != nil || !info.Mode().IsRegular() {
		return nil, errors.New("it is no file")
	}
	src, err := io.ReadAll(io.LimitReader(f, maxCalibrationBytes+1))
	if err == nil && len(src) > maxCalibrationBytes {
		err = fmt.Errorf("it is larger than %d bytes", maxCalibrationBytes)
	}
	return src, err
}

// besideName is the name of a file in the garden file's folder or below it.
func besideName() scalar[string] {
	const wants = "a file's name relative to the garden file, such as peat.calibration.yaml"
	return scalar[string]{wants: wants, format: map[string]any{"type": "string", "maxLength": 200}, parse: func(text string) (string, error) {
		if text == "" || len(text) > 200 || !filepath.IsLocal(text) {
			return "", fail("not a name beside the garden file", wants)
		}
		return text, nil
	}}
}

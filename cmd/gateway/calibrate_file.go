package main

import (
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"fabricpot/cmd/gateway/internal/config"
	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/cmd/gateway/internal/place"
	"fabricpot/control/garden"
	"fabricpot/sensors/calibrate"
)

// writeCalibration writes a fit as a calibration file. A file that stands there
// already is kept under a numbered name, which is returned.
func writeCalibration(path string, fit *calibrate.Fit, mix garden.MixID, how string) (kept string, err error) {
	var b strings.Builder
	fmt.Fprintf(&b, "# What a probe's voltage means in mix %s, by %s: %d points,\n", mix, how, len(fit.Points))
	fmt.Fprintf(&b, "# water %.1f to %.1f %%, %.3f to %.3f V.\n", 100*fit.LoWater, 100*fit.HiWater, fit.LoV, fit.HiV)
	if fit.RMSE.Known {
		fmt.Fprintf(&b, "# Scatter about the curve %.2f points of water (root mean square).\n", 100*fit.RMSE.Value)
	}
	return writeCurve(path, b.String(), fit.Calibration)
}

func writeCurve(path, comment string, c garden.Calibration) (kept string, err error) {
	var b strings.Builder
	b.WriteString(comment)
	fmt.Fprintf(&b, "method: %s\n", c.Kind)
	if c.Kind == garden.Linear {
		fmt.Fprintf(&b, "slope: %.6g %%/V\nintercept: %.6g %%\n", 100*c.Slope, 100*c.Intercept)
	} else {
		b.WriteString("points:\n")
		for _, p := range c.Points {
			fmt.Fprintf(&b, "  - { volts: %.5f V, water: %.3f %% }\n", float64(p.Volts), 100*float64(p.Water))
		}
	}
	if c.OffsetWater != 0 {
		fmt.Fprintf(&b, "offset: %.3f %%\n", 100*c.OffsetWater)
	}
	if c.TempCoeff != 0 {
		fmt.Fprintf(&b, "temperature-coefficient: %.5f %%/°C\n", 100*c.TempCoeff)
	}
	fmt.Fprintf(&b, "temperature-reference: %.1f °C\n", c.TempRefC)
	if len(c.ProbeOffsets) > 0 {
		b.WriteString("offsets:\n")
		for _, id := range slices.Sorted(maps.Keys(c.ProbeOffsets)) {
			fmt.Fprintf(&b, "  %s: %.3f %%\n", id, 100*c.ProbeOffsets[id])
		}
	}
	// What is written must be readable; better to find out now.
	if _, err := config.ReadCalibration(path, []byte(b.String())); err != nil {
		return "", fmt.Errorf("the calibration cannot be written as a file: %w", err)
	}
	return replaceKeeping(path, []byte(b.String()))
}

// replaceKeeping writes a file whole or not at all and keeps the one before. Both
// have its mode and owner: a garden file may be nobody else's to read, and must
// stay the service's.
func replaceKeeping(path string, data []byte) (kept string, err error) {
	mode := fs.FileMode(0o644)
	old, err := os.Lstat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		old = nil
	case err != nil:
		return "", fmt.Errorf("write %s: %w", path, err)
	case !old.Mode().IsRegular():
		return "", fmt.Errorf("write %s: something else than a file stands there", path)
	default:
		mode = old.Mode().Perm()
	}
	err = place.File(path, mode, func(f *os.File) error {
		_, err := f.Write(data)
		if err = errors.Join(err, journal.LikeOwner(f.Name(), path)); err != nil || old == nil {
			return err
		}
		kept, err = keepOld(path, mode)
		return err
	})
	return kept, err
}

// keepOld copies the file to the first free numbered name.
func keepOld(path string, mode fs.FileMode) (string, error) {
	ext := filepath.Ext(path)
	for i := 1; i < 10_000; i++ {
		name := fmt.Sprintf("%s.%d%s", strings.TrimSuffix(path, ext), i, ext)
		old, err := os.ReadFile(path)
		if err != nil {
			return "", fmt.Errorf("keep the old: %w", err)
		}
		f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
		if os.IsExist(err) {
			continue
		}
		if err != nil {
			return "", fmt.Errorf("keep the old: %w", err)
		}
		_, err = f.Write(old)
		// On the card before what it was kept of is replaced.
		err = errors.Join(err, journal.LikeOwner(name, path), f.Chmod(mode), f.Sync(), f.Close())
		if err != nil {
			return "", fmt.Errorf("keep the old: %w", errors.Join(err, os.Remove(name)))
		}
		return name, nil
	}
	return "", fmt.Errorf("keep the old %s: all numbered names are taken", path)
}

package gpioline

import (
	"errors"
	"fmt"
	"strings"
)

// Chip is a GPIO chip as the kernel describes it.
type Chip struct {
	// Path is its device file, Name the kernel's name, Label the one that a
	// garden file gives.
	Path, Name, Label string
	// Lines is how many lines it has.
	Lines int
}

// Chips lists the machine's GPIO chips. Those that can't be opened are left out
// and reported in the error beside the others.
func Chips() ([]Chip, error) { return listChips(machine()) }

func listChips(k kernel) ([]Chip, error) {
	paths, err := k.chips()
	if err != nil {
		return nil, fmt.Errorf("gpioline: list the chips: %w", err)
	}
	var out []Chip
	var errs []error
	seen := map[string]bool{}
	for _, p := range paths {
		c, err := describe(k, p)
		if err != nil {
			errs = append(errs, err)
			continue
		}
		// Some boards keep an old number alive as a link to the same chip.
		if !seen[c.Name] {
			seen[c.Name] = true
			out = append(out, c)
		}
	}
	return out, errors.Join(errs...)
}

func describe(k kernel, path string) (Chip, error) {
	fd, err := k.open(path)
	if err != nil {
		return Chip{}, fmt.Errorf("gpioline: open %s: %w", path, err)
	}
	var info chipInfo
	err = k.chipInfo(fd, &info)
	if cerr := k.close(fd); err == nil {
		err = cerr
	}
	if err != nil {
		return Chip{}, fmt.Errorf("gpioline: describe %s: %w", path, err)
	}
	return Chip{Path: path, Name: text(info.name[:]), Label: text(info.label[:]), Lines: int(info.lines)}, nil
}

// findChip returns the one chip with that label, or the one at that path where
// the label begins with "/dev/".
func findChip(k kernel, label string) (Chip, error) {
	if strings.HasPrefix(label, "/dev/") {
		return describe(k, label)
	}
	all, err := listChips(k)
	var found []Chip
	var labels []string
	for _, c := range all {
		labels = append(labels, fmt.Sprintf("%q at %s", c.Label, c.Path))
		if c.Label == label {
			found = append(found, c)
		}
	}
	switch len(found) {
	case 1:
		return found[0], nil
	case 0:
		have := "this machine has none"
		if len(labels) > 0 {
			have = "this machine has " + strings.Join(labels, ", ")
		}
		if err != nil {
			return Chip{}, fmt.Errorf("gpioline: no GPIO chip labelled %q, %s: %w", label, have, err)
		}
		return Chip{}, fmt.Errorf("gpioline: no GPIO chip labelled %q: %s", label, have)
	}
	return Chip{}, fmt.Errorf("gpioline: %d GPIO chips are labelled %q, at %s and %s: give the path instead", len(found), label, found[0].Path, found[1].Path)
}

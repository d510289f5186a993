package gpioline

import "fmt"

// State is what the kernel says of one line.
type State struct {
	Line int
	// Name is the board's name for the line, often empty.
	Name string
	// Used tells that somebody holds it, Holder who; Output that it drives.
	Used, Output bool
	Holder       string
}

// InUse looks at one line of the chip with that label without requesting it.
func InUse(label string, line int) (State, error) { return inUse(machine(), label, line) }

func inUse(k kernel, label string, line int) (State, error) {
	s := State{Line: line}
	chip, err := findChip(k, label)
	if err != nil {
		return s, err
	}
	if line < 0 || line >= chip.Lines {
		return s, fmt.Errorf("gpioline: %s has no line %d, expected 0 to %d", label, line, chip.Lines-1)
	}
	fd, err := k.open(chip.Path)
	if err != nil {
		return s, fmt.Errorf("gpioline: %s: %w", chip.Path, err)
	}
	defer k.close(fd)
	info := lineInfo{offset: uint32(line)}
	if err := k.lineInfo(fd, &info); err != nil {
		return s, fmt.Errorf("gpioline: %s line %d: %w", label, line, err)
	}
	s.Name, s.Holder = text(info.name[:]), text(info.consumer[:])
	s.Used, s.Output = info.flags&flagUsed != 0, info.flags&flagOutput != 0
	return s, nil
}

package main

import (
	"bufio"
	"fmt"
	"os"
	"regexp"
	"strconv"
)

// pins follows a GPIO chip's output and direction registers.
type pins interface {
	// write takes in one register write.
	write(offset, value uint64)
	// state is what a pin does: "in", "0" or "1".
	state(line int) string
}

type registers struct{ data, output uint64 }

func (r *registers) state(line int) string {
	switch {
	case r.output>>line&1 == 0:
		return "in"
	case r.data>>line&1 == 0:
		return "0"
	}
	return "1"
}

// pl061 is Arm's PrimeCell GPIO: bits 2 to 9 of a data write's address choose the
// lines it changes, and lines that are inputs ignore it (DDI 0190, from memory).
type pl061 struct{ registers }

func (c *pl061) write(offset, value uint64) {
	switch {
	case offset < 0x400:
		mask := offset >> 2 & c.output
		c.data = c.data&^mask | value&mask
	case offset == 0x400:
		c.output = value & 0xFF
	}
}

// aspeed is the AST2600's controller, lines 0 to 31 (ports A to D).
type aspeed struct{ registers }

func (c *aspeed) write(offset, value uint64) {
	switch offset {
	case 0:
		c.data = value
	case 4:
		c.output = value
	}
}

// replay plays the emulator's trace of register writes back and returns what a
// line's pin did from byte mark on, beginning with its state there, and how many
// registers were written since.
func replay(path string, mark int64, p pins, line int) (writes int, history []string, err error) {
	f, err := os.Open(path)
	if err != nil {
		return 0, nil, err
	}
	defer f.Close()
	if line < 0 || line > 31 {
		return 0, nil, fmt.Errorf("line %d: expected 0 to 31", line)
	}
	fields := regexp.MustCompile(`_write .*offset:? 0x([0-9a-f]+).* value 0x([0-9a-f]+)`)
	var at int64
	for s := bufio.NewScanner(f); s.Scan(); {
		if at == mark {
			history = append(history, p.state(line))
		}
		at += int64(len(s.Bytes())) + 1
		m := fields.FindStringSubmatch(s.Text())
		if m == nil {
			continue
		}
		offset, oerr := strconv.ParseUint(m[1], 16, 64)
		value, verr := strconv.ParseUint(m[2], 16, 64)
		if oerr != nil || verr != nil {
			return 0, nil, fmt.Errorf("%s: %q is no register write", path, s.Text())
		}
		p.write(offset, value)
		if at > mark {
			writes++
			if now := p.state(line); now != history[len(history)-1] {
				history = append(history, now)
			}
		}
	}
	if len(history) == 0 {
		history = append(history, p.state(line))
	}
	return writes, history, nil
}

func size(path string) (int64, error) {
	info, err := os.Stat(path)
	if err != nil {
		return 0, err
	}
	return info.Size(), nil
}

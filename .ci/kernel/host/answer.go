package main

import (
	"fmt"
	"strconv"
	"strings"
	"time"
)

// answer does what the guest asks for.
func (b *board) answer(question string) (string, error) {
	f := strings.Fields(question)
	switch {
	case question == "mark":
		n, err := size(b.trace)
		b.mark = n
		return "marked", err
	case question == "bus off":
		return b.bus(false)
	case question == "bus on":
		return b.bus(true)
	case len(f) == 2 && f[0] == "level":
		line, err := strconv.Atoi(f[1])
		if err != nil {
			return "", err
		}
		return b.level(line)
	case len(f) == 2 && f[0] == "since":
		line, err := strconv.Atoi(f[1])
		if err != nil {
			return "", err
		}
		writes, history, err := replay(b.trace, b.mark, b.pins(), line)
		return fmt.Sprint(writes, " ", strings.Join(history, " ")), err
	case len(f) == 2 && f[0] == "warm":
		milli, err := strconv.Atoi(f[1])
		if err != nil {
			return "", err
		}
		return "warm", b.qmp.do("qom-set", map[string]any{"path": "/machine/peripheral/t1", "property": "temperature", "value": milli}, nil)
	case len(f) == 3 && f[0] == "drive", len(f) == 4 && f[0] == "pulse":
		var n [3]int
		for i := range f[1:] {
			var err error
			if n[i], err = strconv.Atoi(f[1+i]); err != nil {
				return "", err
			}
		}
		if f[0] == "drive" {
			return "driven", b.drive(n[0], n[1])
		}
		return "pulsed", b.pulse(n[0], n[1], time.Duration(n[2])*time.Millisecond)
	case len(f) == 4 && f[0] == "expect":
		seconds, err := strconv.Atoi(f[3])
		if err != nil {
			return "", err
		}
		b.resetBy = time.Now().Add(time.Duration(seconds) * time.Second)
		return "expecting", nil
	}
	return "", fmt.Errorf("no such question: %q", question)
}

// level reads a pin from outside the board.
func (b *board) level(line int) (string, error) {
	if b.name == "armhf" {
		var high bool
		pin := fmt.Sprintf("gpio%c%d", 'A'+line/8, line%8)
		err := b.qmp.do("qom-get", map[string]any{"path": "/machine/soc/gpio", "property": pin}, &high)
		if high {
			return "1", err
		}
		return "0", err
	}
	// The chip has one address for each set of lines: this one shows our line.
	var out string
	cmd := fmt.Sprintf("xp /1wx %#x", 0x9030000+(4<<line))
	if err := b.qmp.do("human-monitor-command", map[string]any{"command-line": cmd}, &out); err != nil {
		return "", err
	}
	_, value, _ := strings.Cut(strings.TrimSpace(out), ": ")
	n, err := strconv.ParseUint(value, 0, 32)
	if err != nil {
		return "", fmt.Errorf("%s: %q: %w", cmd, out, err)
	}
	if n != 0 {
		return "1", nil
	}
	return "0", nil
}

// bus switches I²C controller 3 off behind the kernel's back, or on again.
func (b *board) bus(on bool) (string, error) {
	const function = "0x1e78a200"
	if on {
		_, err := b.qtest.ask("writel " + function + " " + b.busFun)
		return "on", err
	}
	was, err := b.qtest.ask("readl " + function)
	if err != nil {
		return "", err
	}
	b.busFun = strings.TrimPrefix(was, "OK ")
	_, err = b.qtest.ask("writel " + function + " 0x0")
	return "off", err
}

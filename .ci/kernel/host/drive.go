package main

import (
	"errors"
	"fmt"
	"time"
)

// drive puts a level on an input line from outside the board.
func (b *board) drive(line, level int) error {
	if b.name == "armhf" {
		pin := fmt.Sprintf("gpio%c%d", 'A'+line/8, line%8)
		return b.qmp.do("qom-set", map[string]any{"path": "/machine/soc/gpio", "property": pin, "value": level != 0}, nil)
	}
	chip, err := b.pl061()
	if err != nil {
		return err
	}
	_, err = b.qtest.ask(fmt.Sprintf("set_irq_in %s unnamed-gpio-in %d %d", chip, line, level))
	return err
}

// pulse closes a contact to ground so many times: low and high for half each.
func (b *board) pulse(line, times int, half time.Duration) error {
	for range times {
		for _, level := range []int{0, 1} {
			if err := b.drive(line, level); err != nil {
				return err
			}
			time.Sleep(half)
		}
	}
	return nil
}

// pl061 finds the GPIO chip among the machine's nameless devices.
func (b *board) pl061() (string, error) {
	if b.chipAt != "" {
		return b.chipAt, nil
	}
	const where = "/machine/unattached"
	var all []struct{ Name, Type string }
	if err := b.qmp.do("qom-list", map[string]any{"path": where}, &all); err != nil {
		return "", err
	}
	for _, d := range all {
		if d.Type == "child<pl061>" {
			b.chipAt = where + "/" + d.Name
			return b.chipAt, nil
		}
	}
	return "", errors.New("the machine has no pl061")
}

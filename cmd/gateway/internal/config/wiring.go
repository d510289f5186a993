package config

import (
	"strconv"
	"strings"

	"fabricpot/cmd/gateway/internal/units"
	"fabricpot/control/garden"
)

// input is where a probe is wired, "0x48/0" or "BUS/0x48/0".
func input() scalar[garden.Input] {
	const wants = "ADDRESS/CHANNEL of a converter, 0x48 to 0x4B and 0 to 3, such as 0x48/0, or BUS/ADDRESS/CHANNEL"
	return scalar[garden.Input]{wants: wants, format: map[string]any{"type": "string", "pattern": `^(.+/)?0x4[89aAbB]/[0-3]$`}, parse: func(text string) (garden.Input, error) {
		rest, channel, ok := cutLast(text, "/")
		bus, addr, _ := cutLast(rest, "/")
		if !ok || len(addr) != 4 || !strings.HasPrefix(addr, "0x") {
			return garden.Input{}, fail("not an input", wants)
		}
		a, err1 := strconv.ParseUint(addr[2:], 16, 16)
		c, err2 := strconv.ParseUint(channel, 10, 8)
		if err1 != nil || err2 != nil {
			return garden.Input{}, fail("not an input", wants)
		}
		if a < 0x48 || a > 0x4B || c > 3 || len(channel) != 1 {
			return garden.Input{}, fail("no such input", wants)
		}
		return garden.Input{Bus: bus, Addr: uint16(a), Channel: int(c)}, nil
	}}
}

func cutLast(s, sep string) (before, after string, found bool) {
	if i := strings.LastIndex(s, sep); i >= 0 {
		return s[:i], s[i+len(sep):], true
	}
	return "", s, false
}

// emitters is "4 x 2 L/h": how many, and the flow of one.
func emitters() scalar[garden.Outlet] {
	const wants = "COUNT x FLOW of one emitter, such as 4 x 2 L/h"
	flow := quantity(units.Flow(), 0.05, 500)
	return scalar[garden.Outlet]{wants: wants, format: map[string]any{"type": "string", "pattern": `^\d+\s*[x×*]\s*\d`}, parse: func(text string) (garden.Outlet, error) {
		i := strings.IndexAny(text, "x×*")
		if i < 0 {
			return garden.Outlet{}, fail("not a count of emitters and their flow", wants)
		}
		n, err := strconv.ParseUint(strings.TrimSpace(text[:i]), 10, 16)
		if err != nil {
			return garden.Outlet{}, fail("not a count of emitters and their flow", wants)
		}
		if n < 1 || n > 1000 {
			return garden.Outlet{}, fail("out of range", "1 to 1000 emitters")
		}
		rest := strings.TrimLeft(text[i:], "x×*")
		v, err := flow.parse(strings.TrimSpace(rest))
		if err != nil {
			return garden.Outlet{}, err
		}
		return garden.Outlet{Emitters: int(n), FlowLPH: v}, nil
	}}
}

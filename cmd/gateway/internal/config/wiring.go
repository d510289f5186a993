package config

import (
	"strconv"
	"strings"
	"time"

	"fabricpot/cmd/gateway/internal/units"
	"fabricpot/control/garden"
	"fabricpot/sensors/iio"
	"fabricpot/sensors/w1"
)

// input is where a probe is wired, "0x48/0" or "BUS/0x48/0".
func input() scalar[garden.Input] {
	const wants = "ADDRESS/CHANNEL of a converter, 0x48 to 0x4B and 0 to 3, such as 0x48/0, or BUS/ADDRESS/CHANNEL"
	return scalar[garden.Input]{wants: wants, format: map[string]any{"type": "string", "pattern": `^((.+/)?0x4[89aAbB]/[0-3]|iio/[A-Za-z0-9:._-]+/[0-9]+)$`}, parse: func(text string) (garden.Input, error) {
		if strings.HasPrefix(text, garden.KernelBus) {
			return kernelInput(text)
		}
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

// kernelInput is a channel of a converter that the kernel drives.
func kernelInput(text string) (garden.Input, error) {
	const wants = "iio/NAME/CHANNEL of a converter that the kernel drives, channel 0 to 31, such as iio/ads1015/0"
	bus, channel, _ := cutLast(text, "/")
	name, ok := strings.CutPrefix(bus, garden.KernelBus)
	c, err := strconv.ParseUint(channel, 10, 8)
	if !ok || err != nil || !iio.ValidName(name) {
		return garden.Input{}, fail("not an input", wants)
	}
	if c > iio.MostChannel {
		return garden.Input{}, fail("no such input", wants)
	}
	return garden.Input{Bus: bus, Channel: int(c)}, nil
}

func cutLast(s, sep string) (before, after string, found bool) {
	if i := strings.LastIndex(s, sep); i >= 0 {
		return s[:i], s[i+len(sep):], true
	}
	return "", s, false
}

// brief is a time of milliseconds.
func brief(lo, hi time.Duration) scalar[time.Duration] {
	s := quantity(units.Pulse(), lo.Seconds(), hi.Seconds())
	return scalar[time.Duration]{wants: s.wants, format: s.format, parse: func(text string) (time.Duration, error) {
		v, err := s.parse(text)
		return time.Duration(v * float64(time.Second)).Round(time.Millisecond), err
	}}
}

// usualLatchPulse suits most latching valves. Common practice, no source.
const usualLatchPulse = 50 * time.Millisecond

// linkLatch makes a latching valve of one that has a pin to close it.
func (r *reader) linkLatch(path string, l garden.Latch, v *garden.Valve) {
	if !r.src.given(path + ".close-pin") {
		if at := path + ".pulse"; r.src.given(at) {
			r.say(at, "belongs to a latching valve", "", "close-pin beside it")
		}
		return
	}
	if l.Pulse == 0 {
		l.Pulse = usualLatchPulse
	}
	v.Latch = &l
	if at := path + ".close-pin"; r.sound(at, path+".pin") {
		if l.ClosePin == v.Pin {
			r.say(at, "one pin for both pulses", strconv.Itoa(l.ClosePin), "another pin than that of the opening pulse")
		}
		r.warn(path, "a latching valve stays open where power fails", "", "a normally closed valve or a timer before it, and a hand valve you can reach")
	}
}

// thermometer is the name of a 1-wire device.
func thermometer() scalar[string] {
	const wants = "the name of a 1-wire thermometer, such as 28-0316a2794bff; 'gateway hardware' lists them"
	return scalar[string]{wants: wants, format: map[string]any{"type": "string", "pattern": "^(10|22|28|3b|42)-[0-9a-f]{12}$"}, parse: func(text string) (string, error) {
		if !w1.ValidID(text) {
			return "", fail("not a 1-wire thermometer", wants)
		}
		return text, nil
	}}
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

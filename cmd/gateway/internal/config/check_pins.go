package config

import (
	"fmt"
	"strconv"

	"fabricpot/control/garden"
)

// pinUse is one thing that hangs on a line of a GPIO chip.
type pinUse struct {
	at   string // the key that is complained about
	what string // the thing, for a sentence
	user string // who uses it, for a sentence
	// found is the pin in the words of its key, wrong what is said of one that is
	// taken (none: whose it is), instead the thing that should not be shared.
	found, wrong, instead string
	chip                  string
	pin                   int
}

// pinUses lists everything that hangs on a pin and was read without a complaint:
// valves first, since it is they that keep a pin.
func (r *reader) pinUses(g *garden.Garden) []pinUse {
	var out []pinUse
	add := func(u pinUse) {
		if u.chip == "" {
			u.chip = g.Hardware.GPIOChip
		}
		if u.instead == "" {
			u.instead = "a pin"
		}
		if u.found == "" {
			u.found = strconv.Itoa(u.pin)
		}
		out = append(out, u)
	}
	for i := range g.Lines {
		l := &g.Lines[i]
		path, user := "lines."+string(l.ID)+".valve", fmt.Sprintf("line %q", l.ID)
		if v := &l.Valve; v.Kind == garden.PinValve && r.sound(path) {
			add(pinUse{at: path, what: "a valve", user: user, found: fmt.Sprintf("pin %d", v.Pin), wrong: "two lines on one valve", instead: "a valve", chip: v.Chip, pin: v.Pin})
			if v.Latch != nil {
				add(pinUse{at: path + ".close-pin", what: "a valve", user: user, wrong: "a pin that is taken", chip: v.Chip, pin: v.Latch.ClosePin})
			}
		}
	}
	for i := range g.Lines {
		l := &g.Lines[i]
		path := "lines." + string(l.ID) + ".injector"
		if in := &l.Injector; in.Switched && r.sound(path+".pin") && !r.unsound[path+".chip"] {
			add(pinUse{at: path + ".pin", what: "an injector", user: fmt.Sprintf("line %q", l.ID), found: fmt.Sprintf("pin %d", in.Pin), wrong: "a pin that is taken", chip: in.Chip, pin: in.Pin})
		}
	}
	s, lamp := &g.Supply, &g.Calling.Lamp
	for _, w := range []struct {
		path, user, wrong, chip string
		pin                     int
	}{
		{"supply.meter", "the flow meter", "two things on one pin", s.Meter.Chip, s.Meter.Pin},
		{"supply.float", "the float", "two things on one pin", s.Float.Chip, s.Float.Pin},
		{"supply.pump", "the pump", "two things on one pin", s.Pump.Chip, s.Pump.Pin},
		{"rain-gauge", "the rain gauge", "two things on one pin", g.Rain.Chip, g.Rain.Pin},
		{"alarms.lamp", "the lamp", "", lamp.Chip, lamp.Pin},
	} {
		if r.sound(w.path+".pin") && !r.unsound[w.path+".chip"] {
			add(pinUse{at: w.path + ".pin", what: w.user, user: w.user, wrong: w.wrong, chip: w.chip, pin: w.pin})
		}
	}
	return out
}

// checkPins finds two things on one pin: what switches one of them would switch
// the other, past whatever guards it.
func (r *reader) checkPins(g *garden.Garden) {
	type line struct {
		chip string
		pin  int
	}
	taken := map[line]pinUse{}
	for _, u := range r.pinUses(g) {
		at := line{u.chip, u.pin}
		other, twice := taken[at]
		if !twice {
			taken[at] = u
			continue
		}
		wrong := u.wrong
		if wrong == "" {
			wrong = "the pin of " + other.what
		}
		r.say(u.at, wrong, u.found, u.instead+" that "+other.user+" does not use")
	}
}

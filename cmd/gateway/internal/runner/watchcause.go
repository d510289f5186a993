package runner

import (
	"fmt"
	"slices"

	"fabricpot/control/alarm"
	"fabricpot/control/garden"
)

// causes is what follows from what in a garden: its wiring and its plumbing as
// links between alarms, so that a bus that sticks is one alarm and not one for
// each probe behind it.
type causes struct {
	first map[alarm.Cause][]alarm.Cause
	// spills is what may soak a zone against everybody's will.
	spills     []spill
	lineOf     map[garden.ZoneID]string
	converters []converter
}

// spill is what may soak one zone.
type spill struct {
	zone garden.ZoneID
	by   []alarm.Cause
}

// converter is one chip and the probes on it, by their number in ProbeList.
type converter struct {
	bus, name string
	probes    []int
}

func newCauses(g *garden.Garden) causes {
	c := causes{first: map[alarm.Cause][]alarm.Cause{}, lineOf: map[garden.ZoneID]string{}}
	link := func(k alarm.Kind, subject string, first ...alarm.Cause) {
		at := alarm.Cause{Kind: k, Subject: subject}
		c.first[at] = append(c.first[at], first...)
	}
	dry, pump := alarm.Cause{Kind: alarm.SupplyGone}, alarm.Cause{Kind: alarm.PumpDry}
	tank, meter := alarm.Cause{Kind: alarm.TankLow}, alarm.Cause{Kind: alarm.GaugeDoubtful, Subject: meterName}
	begun := alarm.Cause{Kind: alarm.JournalBroken} // it holds water back
	// Water that nobody ordered soaks pots, and is counted with what others get.
	stray, far := alarm.Cause{Kind: alarm.FlowWithoutOrder}, alarm.Cause{Kind: alarm.LinkLost}
	for i := range g.Lines {
		id := string(g.Lines[i].ID)
		notClosed := alarm.Cause{Kind: alarm.NotClosed, Subject: id}
		link(alarm.OrderWithoutFlow, id, pump, dry, meter)
		link(alarm.FlowTooHigh, id, stray)
		link(alarm.LessFlow, id, pump, dry, tank, meter, alarm.Cause{Kind: alarm.OrderWithoutFlow, Subject: id}, alarm.Cause{Kind: alarm.LessFlow})
		link(alarm.CapReached, id, notClosed, stray, begun, alarm.Cause{Kind: alarm.FlowTooHigh, Subject: id}, pump, dry,
			alarm.Cause{Kind: alarm.OrderWithoutFlow, Subject: id})
		if g.Lines[i].Valve.Kind == garden.RemoteValve {
			// That a line may be open is more urgent than why; its text says that too.
			link(alarm.LinkLost, "", notClosed)
			link(alarm.LineFaulted, id, far)
			link(alarm.CapReached, id, far)
			continue
		}
		link(alarm.LineFaulted, id, notClosed)
	}
	link(alarm.LessFlow, "", pump, dry, tank, meter)
	link(alarm.PumpDry, "", tank, meter)
	link(alarm.SupplyGone, "", pump, tank, meter)
	link(alarm.SupplyShort, "", stray, pump, dry, tank, begun)
	potsOn := map[string]int{}
	g.EachZone(func(_ *garden.Pot, z *garden.Zone) {
		c.lineOf[z.ID] = string(z.Line)
		potsOn[string(z.Line)]++
	})
	g.EachZone(func(_ *garden.Pot, z *garden.Zone) {
		zone, line, id := z.ID, string(z.Line), string(z.ID)
		about := func(k alarm.Kind) alarm.Cause { return alarm.Cause{Kind: k, Subject: line} }
		pot := func(k alarm.Kind) alarm.Cause { return alarm.Cause{Kind: k, Subject: id} }
		c.spills = append(c.spills, spill{zone, []alarm.Cause{about(alarm.NotClosed), stray}})
		// What a pot got is unknown, or none.
		water := []alarm.Cause{about(alarm.NotClosed), stray, about(alarm.FlowTooHigh), pump, dry, about(alarm.OrderWithoutFlow), tank}
		link(alarm.LessArrives, id, about(alarm.LessFlow))
		link(alarm.ZoneNoResponse, id, water...)
		link(alarm.LessArrives, id, append(water, pot(alarm.ZoneNoResponse))...)
		water = append(water, pot(alarm.ZoneNoResponse), pot(alarm.LessArrives))
		link(alarm.LosesTooMuch, id, water...)
		// What does not arrive is given again and again.
		link(alarm.CapReached, line, pot(alarm.ZoneNoResponse), pot(alarm.LessArrives), pot(alarm.LosesTooMuch))
		link(alarm.OnBalance, id, append(water, pot(alarm.LosesTooMuch), pot(alarm.LosesTooLittle))...)
		link(alarm.LosesTooLittle, id, append(water, about(alarm.CapReached))...)
	})
	for n, p := range g.ProbeList() {
		id, zone := string(p.ID), string(p.Zone)
		behind := []alarm.Cause{{Kind: alarm.LinkLost}}
		if p.Remote == nil {
			cv := c.converter(g, p.Input)
			cv.probes = append(cv.probes, n)
			behind = []alarm.Cause{{Kind: alarm.BusDead, Subject: cv.bus}, {Kind: alarm.ConverterDead, Subject: cv.name}}
		}
		link(alarm.ProbeDead, id, behind...)
		link(alarm.OnBalance, zone, append(behind,
			alarm.Cause{Kind: alarm.ProbeDead, Subject: id}, alarm.Cause{Kind: alarm.ProbeDoubtful, Subject: id})...)
		failed := []alarm.Cause{{Kind: alarm.ProbeDead, Subject: id}, {Kind: alarm.ProbeDoubtful, Subject: id}}
		link(alarm.LosesTooMuch, zone, failed...)
		link(alarm.LosesTooLittle, zone, failed...)
		if line := c.lineOf[p.Zone]; potsOn[line] == 1 {
			link(alarm.CapReached, line, failed...)
		}
	}
	for i := range c.converters {
		cv := &c.converters[i]
		link(alarm.ConverterDead, cv.name, alarm.Cause{Kind: alarm.BusDead, Subject: cv.bus})
	}
	return c
}

// converter finds a probe's converter or takes it in.
func (c *causes) converter(g *garden.Garden, in garden.Input) *converter {
	bus := in.Bus
	if bus == "" {
		bus = g.Hardware.I2CBus
	}
	name := fmt.Sprintf("0x%02X", in.Addr)
	if bus != "" {
		name = bus + " " + name
	}
	for i := range c.converters {
		if c.converters[i].name == name {
			return &c.converters[i]
		}
	}
	c.converters = append(c.converters, converter{bus: bus, name: name})
	return &c.converters[len(c.converters)-1]
}

// follows reports whether something an alarm may follow from holds, but for a probe,
// which is in doubt for a moment now and then: what is not noticed for that is lost.
func (w *watch) follows(k alarm.Kind, subject string) bool {
	return slices.ContainsFunc(w.first(k, subject), func(c alarm.Cause) bool {
		return c.Kind != alarm.ProbeDead && c.Kind != alarm.ProbeDoubtful && w.book.Holds(c.Kind, c.Subject)
	})
}

// first is what an alarm may follow from now. A float in doubt holds water back, and
// explains nothing else.
func (w *watch) first(k alarm.Kind, subject string) []alarm.Cause {
	of := w.causes.of(k, subject)
	if w.floatDoubted && k != alarm.SupplyShort {
		of = slices.DeleteFunc(slices.Clone(of), func(c alarm.Cause) bool { return c.Kind == alarm.TankLow })
	}
	return of
}

// capped tells of a day's limit, where what spent it has no alarm of its own: one
// that stands, or that stood while the limit held already. What was charged then
// counts for a day.
func (w *watch) capped(now garden.Moment, line garden.LineID, text string) {
	id := string(line)
	if w.follows(alarm.CapReached, id) {
		w.spent[line] = now.Mono + spentFor
		w.end(alarm.CapReached, id)
		return
	}
	if till, known := w.spent[line]; !known || now.Mono >= till {
		w.notice(now, alarm.CapReached, id, text)
	}
}

// of is what an alarm may follow from.
func (c *causes) of(k alarm.Kind, subject string) []alarm.Cause {
	return c.first[alarm.Cause{Kind: k, Subject: subject}]
}

// silent looks for converters and buses behind probes that do not answer: a
// channel of a chip that is there always answers something.
func (w *watch) silent(now garden.Moment, readings []garden.Reading) {
	type count struct{ all, dead int }
	buses := map[string]count{}
	for i := range w.causes.converters {
		cv := &w.causes.converters[i]
		dead := true
		for _, n := range cv.probes {
			dead = dead && n < len(readings) && readings[n].Quality == garden.Bad &&
				(readings[n].Fault == garden.Missing || readings[n].Fault == garden.Stale)
		}
		b := buses[cv.bus]
		b.all++
		if dead {
			b.dead++
			names := make([]garden.ProbeID, 0, len(cv.probes))
			for _, n := range cv.probes {
				names = append(names, readings[n].Probe)
			}
			w.hold(now, alarm.ConverterDead, cv.name, fmt.Sprintf("no answer for any of its probes: %v", names))
		}
		buses[cv.bus] = b
	}
	for bus, n := range buses {
		// One converter alone is the likelier culprit.
		if n.all > 1 && n.dead == n.all {
			w.hold(now, alarm.BusDead, bus, fmt.Sprintf("none of its %d converters answers", n.all))
		}
	}
}

// hold tells the book a condition with what it may follow from.
func (w *watch) hold(now garden.Moment, k alarm.Kind, subject, text string) {
	w.book.Hold(now, k, subject, text, w.first(k, subject)...)
}

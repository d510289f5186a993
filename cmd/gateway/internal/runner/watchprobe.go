package runner

import (
	"fmt"
	"slices"
	"time"

	"fabricpot/control"
	"fabricpot/control/alarm"
	"fabricpot/control/garden"
)

// overPores is how far over its mix's pores a reading may lie, m³/m³: what a
// calibration carried beyond its wettest point may be off by.
const overPores = 0.05

// beyondFor is how long a reading may stay outside its span: a soaked mix drains
// within hours.
const beyondFor = 12 * time.Hour

// doubts is what is known against the probes of a garden.
type doubts struct {
	pores  map[garden.ProbeID]float64
	zoneOf map[garden.ProbeID]garden.ZoneID
	probes map[garden.ZoneID]int // how many
	beyond map[garden.ProbeID]*excess
	// mute are those that did not move with water, until they do.
	mute map[garden.ProbeID]bool
	// wet counts the probes of a zone that read beyond their wettest point this round,
	// and flooded are the zones that were told of as a whole for that.
	wet     map[garden.ZoneID]int
	flooded map[garden.ZoneID]bool
	// bare are the zones that nothing grows in: nobody waters them, so they dry out.
	bare map[garden.ZoneID]bool
}

// excess is a reading outside its span: since when, since when it is over the pores of
// its mix too, and what was told of that, which holds until it is back in its span.
type excess struct {
	since, over time.Duration
	isOver      bool
	told        string
}

func newDoubts(g *garden.Garden) doubts {
	d := doubts{pores: map[garden.ProbeID]float64{}, zoneOf: map[garden.ProbeID]garden.ZoneID{}, probes: map[garden.ZoneID]int{},
		beyond: map[garden.ProbeID]*excess{}, mute: map[garden.ProbeID]bool{}, wet: map[garden.ZoneID]int{}, flooded: map[garden.ZoneID]bool{}, bare: map[garden.ZoneID]bool{}}
	g.EachZone(func(p *garden.Pot, z *garden.Zone) {
		m, ok := g.Mix(p.Mix)
		d.probes[z.ID] = len(z.Probes)
		for i := range z.Probes {
			d.zoneOf[z.Probes[i].ID] = z.ID
			if ok && m.Retention.ThetaS > 0 {
				d.pores[z.Probes[i].ID] = m.Retention.ThetaS
			}
		}
	})
	return d
}

// follow takes over another version of the garden, for the probes that it has still.
func (d *doubts) follow(to doubts) {
	for id := range to.zoneOf {
		if d.mute[id] {
			to.mute[id] = true
		}
		if x := d.beyond[id]; x != nil {
			to.beyond[id] = x
		}
	}
	for id := range to.probes {
		if d.flooded[id] {
			to.flooded[id] = true
		}
	}
	*d = to
}

// unmoved reports whether a probe of the zone did not move with water, and has not since.
func (d *doubts) unmoved(zone garden.ZoneID) bool {
	for id := range d.mute {
		if d.zoneOf[id] == zone {
			return true
		}
	}
	return false
}

// soaked reports whether every probe of the zone reads beyond its wettest point: what
// it is watered by meanwhile is nothing to tell of, since it needs no water.
func (d *doubts) soaked(zone garden.ZoneID) bool {
	return d.probes[zone] > 0 && d.wet[zone] == d.probes[zone]
}

// grows takes in where nothing does.
func (d *doubts) grows(views []control.ZoneView) {
	clear(d.bare)
	for i := range views {
		if views[i].Empty {
			d.bare[views[i].Zone] = true
		}
	}
}

func (w *watch) probes(now garden.Moment, obs *garden.Observed) {
	d := &w.doubts
	clear(d.wet)
	long := map[garden.ZoneID]int{}
	for i := range obs.Readings {
		r := &obs.Readings[i]
		if r.Fault != garden.OutOfSpan {
			delete(d.beyond, r.Probe)
		}
		if r.Quality == garden.Good {
			continue
		}
		switch r.Fault {
		case garden.Missing, garden.Stale, garden.OpenCircuit, garden.ShortCircuit, garden.NoCalibration:
			if r.Quality == garden.Bad {
				w.hold(now, alarm.ProbeDead, string(r.Probe), r.Fault.String())
			}
		case garden.FlatLine, garden.TooFast, garden.Noisy, garden.NoResponse:
			w.hold(now, alarm.ProbeDoubtful, string(r.Probe), r.Fault.String())
		case garden.OutOfSpan:
			if w.outside(now, r) {
				long[r.Zone]++
			}
		}
	}
	w.longOutside(now, obs.Readings, long)
}

// outside looks at a reading outside its span, and reports whether it has been too wet
// for so long that it must be told of.
//
// A wet floor reads beyond the wet calibration point for hours, and nothing is wrong
// with the probe. More water than the mix has pores is something else, and so is a mix
// that never drains: a wet plug pulls the signal down like that. No mix loses its last
// water: a probe that reads none hangs in the air.
func (w *watch) outside(now garden.Moment, r *garden.Reading) bool {
	d := &w.doubts
	x, pores := d.beyond[r.Probe], d.pores[r.Probe]
	if x == nil {
		x = &excess{since: now.Mono}
		d.beyond[r.Probe] = x
	}
	dry := pores > 0 && float64(r.Water) < pores/2
	if !dry {
		d.wet[r.Zone]++
	}
	over := pores > 0 && float64(r.Water) > pores+overPores
	if over && !x.isOver {
		x.over = now.Mono
	}
	x.isOver = over
	switch on, _ := alarm.ProbeDoubtful.Delays(); {
	case over && !d.flooded[r.Zone]:
		text := "reads more water than its mix has pores: look for water in its plug"
		if now.Mono-x.over >= on {
			x.told = text
		}
		w.spilt(now, alarm.ProbeDoubtful, string(r.Probe), r.Zone, text)
	case r.Water <= 0:
		w.hold(now, alarm.ProbeDoubtful, string(r.Probe), "reads no water at all: look whether it was pulled out of the mix")
	case r.Quality == garden.Bad:
		w.hold(now, alarm.ProbeDoubtful, string(r.Probe), r.Fault.String())
	case d.flooded[r.Zone]:
		// Told of already, with the others of its zone.
	case x.told != "":
		w.spilt(now, alarm.ProbeDoubtful, string(r.Probe), r.Zone, x.told)
	case dry && d.bare[r.Zone]:
		// Its mix may be as dry as that.
	case now.Mono-x.since >= beyondFor && dry:
		w.hold(now, alarm.ProbeDoubtful, string(r.Probe), fmt.Sprintf("drier than its calibration goes for %.0f h: look whether it sits firmly in the mix, or its pot stands dry", (now.Mono-x.since).Hours()))
	default:
		return now.Mono-x.since >= beyondFor
	}
	return false
}

// longOutside tells of probes that have been too wet for long. Where all of a zone are
// too wet when the first has been for so long, it is likelier the water than each of
// their plugs, and stays so until none is.
func (w *watch) longOutside(now garden.Moment, readings []garden.Reading, long map[garden.ZoneID]int) {
	d := &w.doubts
	for i := range readings {
		r := &readings[i]
		x := d.beyond[r.Probe]
		if long[r.Zone] == 0 || x == nil || x.told != "" || now.Mono-x.since < beyondFor || d.flooded[r.Zone] {
			continue
		}
		if d.probes[r.Zone] > 1 && d.soaked(r.Zone) && !d.toldOne(r.Zone) {
			d.flooded[r.Zone] = true
			continue
		}
		x.told = fmt.Sprintf("outside its calibrated span for %.0f h: look for water in its plug, and for a valve that leaks into the pot", (now.Mono - x.since).Hours())
		w.spilt(now, alarm.ProbeDoubtful, string(r.Probe), r.Zone, x.told)
	}
	for zone := range d.flooded {
		if d.wet[zone] == 0 {
			delete(d.flooded, zone)
			continue
		}
		w.spilt(now, alarm.LosesTooLittle, string(zone), zone, "all its probes read more than their calibration's wettest point, for hours: look for a valve that leaks or does not close, and for water in their plugs")
	}
}

// toldOne reports whether a probe of the zone was told of by itself.
func (d *doubts) toldOne(zone garden.ZoneID) bool {
	for id, x := range d.beyond {
		if x.told != "" && d.zoneOf[id] == zone {
			return true
		}
	}
	return false
}

// spilt tells of what reads too wet, where no water has an alarm that may be why.
func (w *watch) spilt(now garden.Moment, k alarm.Kind, subject string, zone garden.ZoneID, text string) {
	var first []alarm.Cause
	for _, s := range w.causes.spills {
		if s.zone == zone {
			first = s.by
		}
	}
	w.book.Hold(now, k, subject, text, first...)
}

// spills tells the controller which zones are soaked by water that nobody ordered, as far
// as that is known: readings of them that are too wet prove nothing.
func (w *watch) spills(now garden.Moment, p *control.Plan, st *control.State) {
	if w.book.Empty() {
		return
	}
	for _, s := range w.causes.spills {
		if slices.ContainsFunc(s.by, func(c alarm.Cause) bool { return w.book.Holds(c.Kind, c.Subject) }) {
			p.Spilt(st, now, s.zone)
		}
	}
}

// waterless reports whether the water of a zone has an alarm, or gets one this round,
// so that no probe is to blame for not moving with it.
func (w *watch) waterless(st *control.State, zone garden.ZoneID) bool {
	if w.follows(alarm.ZoneNoResponse, string(zone)) || w.stands(alarm.ZoneNoResponse, string(zone)) {
		return true
	}
	for _, e := range st.Events() {
		if e.Kind == control.ZoneNoResponse && e.Zone == zone {
			return true
		}
	}
	return false
}

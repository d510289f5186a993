package config

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"fabricpot/control/garden"
)

// link makes the garden of a draft: references become ids that exist, defaults
// are filled in, derived values computed. What can't be resolved is reported
// and left out, so that the checks after it meet whole things only.
func (r *reader) link(d *draft) *garden.Garden {
	g := &garden.Garden{
		Site: d.site, Supply: d.supply, Limits: d.limits, Hardware: d.hardware,
		Rain: d.rain, SampleEvery: d.sample, StagesByHeat: d.byHeat, JournalFile: d.journal, Broker: r.linkBroker(d.broker),
		Calling: r.linkCalling(d.calling, d.hardware),
	}
	if g.Site.ID == "" {
		g.Site.ID = slug(g.Site.Name, "garden")
	}
	for _, m := range d.mixes {
		m.value.ID = garden.MixID(m.id)
		if m.value.Name == "" {
			m.value.Name = m.id
		}
		r.calibrationFile(m.path+".calibration", &m.value.Calibration)
		g.Mixes = append(g.Mixes, m.value)
	}
	for _, c := range d.crops {
		c.value.Name = c.id
		if n := len(c.value.stages); n == len(c.value.StageDays) {
			for i, s := range c.value.stages {
				c.value.StageDays[i] = int(math.Round(s.Hours() / 24))
			}
		} else if r.sound(c.path + ".stages") {
			r.say(c.path+".stages", "the wrong number of stages", strconv.Itoa(n), "4: initial, development, mid and late")
		}
		g.Crops = append(g.Crops, c.value.OwnCrop)
	}
	for _, p := range d.products {
		g.Products = append(g.Products, linkProduct(p))
	}
	if d.hose.Known {
		g.HoseLPM = garden.Known(d.hose.Value / 60)
	}
	zones := map[garden.ZoneID]string{}
	for _, p := range d.pots {
		g.Pots = append(g.Pots, r.linkPot(p, g.Site.Zone, zones))
	}
	r.linkLines(d, g)
	r.linkGauges(g)
	return g
}

func (r *reader) linkPot(p entry[potDraft], zone *time.Location, taken map[garden.ZoneID]string) garden.Pot {
	pot := garden.Pot{ID: garden.PotID(p.id), Name: p.value.name, Mix: p.value.mix}
	if pot.Name == "" {
		pot.Name = p.id
	}
	if r.sound(p.path + ".size") {
		var wrong string
		if pot.Shape, pot.VolumeL, wrong = p.value.size.shape(); wrong != "" {
			r.say(p.path+".size", wrong, "", "75 L, or 46 cm x 45 cm, or their parts")
		}
	}
	drafts := p.value.zones
	if len(drafts) == 0 {
		only := p.value.zoneDraft
		only.Name = pot.Name
		only.share = garden.Known(1)
		drafts = []entry[zoneDraft]{{"", p.path, only}}
	} else {
		for _, key := range []string{"plants", "probes", "hand-tended"} {
			if path := p.path + "." + key; r.src.given(path) {
				r.say(path, "stands beside zones", "", "it under the zone it belongs to")
			}
		}
	}
	shares := r.shares(p.path, drafts)
	for i, z := range drafts {
		pot.Zones = append(pot.Zones, r.linkZone(&pot, p.value.zoneDraft, z, shares[i], zone, taken))
	}
	return pot
}

// shares splits a pot: as given, or evenly where nothing is.
func (r *reader) shares(path string, zones []entry[zoneDraft]) []float64 {
	out, sum, known := make([]float64, len(zones)), 0.0, 0
	sound := true
	for i, z := range zones {
		out[i] = z.value.share.Or(1 / float64(len(zones)))
		sum += out[i]
		if z.value.share.Known {
			known++
		}
		sound = sound && !r.unsound[z.path+".share"]
	}
	switch {
	case !sound:
	case known > 0 && known < len(zones):
		r.say(path+".zones", "some zones have a share and some have none", fmt.Sprintf("%d of %d", known, len(zones)), "a share for all or for none")
	case math.Abs(sum-1) > 0.005:
		r.say(path+".zones", "the shares of the zones do not make a whole pot", fmt.Sprintf("%.1f %%", 100*sum), "100 %")
	default:
		for i := range out {
			out[i] /= sum
		}
	}
	return out
}

func (r *reader) linkZone(pot *garden.Pot, whole zoneDraft, d entry[zoneDraft], share float64, zone *time.Location, taken map[garden.ZoneID]string) garden.Zone {
	z := d.value.Zone
	z.Pot, z.Share, z.ID = pot.ID, share, garden.ZoneID(pot.ID)
	if d.id != "" {
		z.ID = garden.ZoneID(string(pot.ID) + "-" + d.id)
		if z.Name == "" {
			z.Name = pot.Name + ", " + d.id
		}
		r.inherit(&z, whole.Zone, d.path, "pots."+string(pot.ID))
	}
	if z.Exposure == "" {
		z.Exposure = garden.OpenAir
	}
	if !r.src.given(d.path+".leaching") && !r.src.given("pots."+string(pot.ID)+".leaching") {
		if z.LeachByNeed = true; z.Feed.Fed() {
			z.LeachingFraction = fedLeaching
		}
	}
	r.claim("zone", string(z.ID), d.path)
	if other, twice := taken[z.ID]; twice {
		r.say(d.path, "two zones share one name", quote(string(z.ID)), "another name than that of "+other)
		r.clashed[d.path] = true
	}
	taken[z.ID] = d.path
	for i := range z.Plants {
		pl := &z.Plants[i]
		if pl.Count == 0 {
			pl.Count = 1
		}
		if t := pl.PlantedOn; !t.IsZero() && zone != nil {
			pl.PlantedOn = time.Date(t.Year(), t.Month(), t.Day(), 0, 0, 0, 0, zone)
		}
	}
	for _, pr := range d.value.probes {
		probe := pr.value
		probe.ID, probe.Zone = garden.ProbeID(string(z.ID)+"-"+pr.id), z.ID
		r.calibrationFile(pr.path+".calibration", &probe.Calibration)
		r.claim("probe", string(probe.ID), pr.path)
		z.Probes = append(z.Probes, probe)
	}
	return z
}

// inherit takes over what a pot says for all its zones.
func (r *reader) inherit(z *garden.Zone, whole garden.Zone, zonePath, potPath string) {
	for _, m := range []struct{ own, whole *garden.Measured }{
		{&z.Capacity, &whole.Capacity}, {&z.LowerLimit, &whole.LowerLimit},
		{&z.RefillPoint, &whole.RefillPoint}, {&z.StopPoint, &whole.StopPoint},
	} {
		if !m.own.Known {
			*m.own = *m.whole
		}
	}
	if z.Exposure == "" {
		z.Exposure = whole.Exposure
	}
	if !r.src.given(zonePath + ".feed") {
		z.Feed = whole.Feed
		z.Feed.Products = slices.Clone(whole.Feed.Products)
	}
	if !r.src.given(zonePath+".leaching") && r.src.given(potPath+".leaching") {
		z.LeachingFraction = whole.LeachingFraction
	}
}

// claim registers an id made of two keys, so that it is found by position and
// refused where it grew too long.
func (r *reader) claim(what, id, path string) {
	if !garden.ValidID(id) {
		r.say(path, "too long a name", fmt.Sprintf("%d letters in %s", len(id), quote(id)), fmt.Sprintf("at most %d", garden.MaxIDLen))
	}
	if other, twice := r.src.aliases[what+"s."+id]; twice && what == "probe" {
		r.say(path, "two probes share one name", quote(id), "another name than that of "+other)
	}
	r.src.aliases[what+"s."+id] = path
}

func (r *reader) linkLines(d *draft, g *garden.Garden) {
	fed := map[garden.ZoneID]string{}
	for _, l := range d.lines {
		ln := l.value.Line
		ln.ID, ln.Valve = garden.LineID(l.id), r.linkValve(l, d.hardware)
		if ln.Name == "" {
			ln.Name = l.id
		}
		if p := ln.Valve.Plain; p != nil && p.OwnLimit > 0 && (ln.MaxOn == 0 || ln.MaxOn > p.OwnLimit) {
			// It closes by itself then; better that we know.
			ln.MaxOn = min(p.OwnLimit, d.limits.MaxOn)
		}
		for _, w := range l.value.waters {
			zone, ok := r.watered(g, w)
			if !ok {
				continue
			}
			if other, twice := fed[zone.ID]; twice {
				r.say(w.path, "a zone on two lines", quote(w.id), "one line; "+strconv.Quote(other)+" waters it already")
				continue
			}
			fed[zone.ID] = l.id
			zone.Line = ln.ID
			out := w.value
			out.Zone = zone.ID
			ln.Outlets = append(ln.Outlets, out)
		}
		g.Lines = append(g.Lines, ln)
	}
}

// watered finds the zone that a line names.
func (r *reader) watered(g *garden.Garden, w entry[garden.Outlet]) (*garden.Zone, bool) {
	if _, zone, ok := g.Zone(garden.ZoneID(w.id)); ok {
		return zone, true
	}
	var known, ofPot []string
	g.EachZone(func(p *garden.Pot, z *garden.Zone) {
		known = append(known, string(z.ID))
		if string(p.ID) == w.id {
			ofPot = append(ofPot, string(z.ID))
		}
	})
	if len(ofPot) > 0 {
		r.say(w.path, "a pot of several zones", quote(w.id), "one of its zones: "+strings.Join(ofPot, ", "))
		return nil, false
	}
	r.unknownName(w.path, "zone", w.id, known)
	return nil, false
}

func (r *reader) linkValve(l entry[lineDraft], hw garden.Hardware) garden.Valve {
	v, path := l.value.valve.Valve, l.path+".valve"
	pin, remote, plain := r.src.given(path+".pin"), r.src.given(path+".remote"), r.src.given(path+".plain")
	switch {
	case plain && (pin || remote):
		r.say(path, "a plain device and something else", "", "one of pin, remote and plain")
	case plain:
		v.Kind = garden.RemoteValve
		r.notOfPin(path)
	case pin && remote:
		r.say(path, "both a pin and a remote node", "", "one of the two")
	case pin:
		v.Kind = garden.PinValve
		if v.Chip == "" {
			v.Chip = hw.GPIOChip
		}
		if v.Chip == "" && hw.Kind == garden.Board {
			r.say(path, "no GPIO chip", "", "chip here, or gpio-chip under hardware")
		}
		r.linkLatch(path, l.value.valve.latch, &v)
	case remote:
		v.Kind, v.Node = garden.RemoteValve, l.value.valve.remote
		r.notOfPin(path)
	case r.sound(path):
		r.say(path, "neither a pin nor a remote node", "", "pin: NUMBER or remote: NODE")
	}
	return v
}

// notOfPin reports what only a pin has.
func (r *reader) notOfPin(path string) {
	for _, key := range []string{"chip", "active-low", "close-pin", "pulse"} {
		if p := path + "." + key; r.src.given(p) {
			r.say(p, "belongs to a pin", "", "a remote node without it")
		}
	}
}

// unknownName reports a reference to something that is not there.
func (r *reader) unknownName(path, what, name string, known []string) {
	if r.dropped {
		// It may be the one that was refused.
		r.spoil(path)
		return
	}
	expected := "one of " + strings.Join(known, ", ")
	if near := nearest(name, known); near != "" {
		expected = strconv.Quote(near)
	} else if len(known) == 0 {
		expected = "a " + what + " that is defined"
	}
	r.say(path, "unknown "+what, quote(name), expected)
}

package config

import (
	"fmt"
	"reflect"
	"strings"
	"unicode"

	"fabricpot/control/garden"
)

// Change is one difference between two versions of a garden.
type Change struct {
	// Path names the place by keys, as Problem does.
	Path string
	// How is "changed", "added" or "removed".
	How string
	// Restart tells that a running gateway can't take it over.
	Restart bool
}

// Changes compares a running garden with another version of it, in the order of
// the garden file's keys. What a running gateway may take over is listed here by
// name; whatever is not takes a restart.
func Changes(was, to *garden.Garden) []Change {
	// A hub learns names once, when it is told what there is.
	c := comparer{names: to.Broker.URL == "" && was.Broker.URL == ""}
	c.fields("", was, to)
	return c.out
}

// Align gives a garden the very time zone of another where both have the same: two
// that were loaded at different times of the year look different.
func Align(was, to *garden.Garden) {
	zone := was.Site.Zone
	if zone == nil || to.Site.Zone == nil || zone.String() != to.Site.Zone.String() {
		return
	}
	to.Site.Zone = zone
	to.EachZone(func(_ *garden.Pot, z *garden.Zone) {
		for i := range z.Plants {
			if !z.Plants[i].PlantedOn.IsZero() {
				z.Plants[i].PlantedOn = z.Plants[i].PlantedOn.In(zone)
			}
		}
	})
}

type comparer struct {
	names bool
	out   []Change
}

// taken are the fields that a running gateway takes over, with their keys. A key
// that begins with "!" is a field that takes a restart and has another key than
// its name says; "?" is a name that a hub may know.
func taken() map[string]string {
	return map[string]string{
		"Garden.HoseLPM": "hose", "Garden.StagesByHeat": "stages-by-heat", "Garden.JournalFile": "!journal",
		"Garden.Rain": "!rain-gauge",

		"Calling.RepeatAfter": "repeat-after", "Calling.RepeatMost": "repeat-most", "Calling.Quiet": "quiet-hours",
		"Calling.SelfTestDay": "self-test-day", "Calling.PerHour": "most-per-hour",
		"Calling.Webhooks": "webhooks", "Calling.Mail": "mail", "Calling.Lamp": "!lamp",

		"Supply.FlowLPH": "flow", "Supply.Hours": "hours", "Supply.TankReserveL": "tank-reserve",
		"Supply.PressureKPa": "pressure", "Supply.ECmS": "conductivity",
		"Supply.TankL": "!tank", "Supply.MeterPulsesPerL": "!meter",

		"Limits.MaxOn": "max-on", "Limits.MinRest": "min-rest", "Limits.DailyFactor": "daily-factor", "Limits.FrostC": "frost",
		"Limits.SurvivalShare": "survival", "Limits.NoJournalDoses": "no-journal-doses",

		"Pot.Name": "?name", "Pot.Mix": "mix", "Pot.Shape": "size", "Pot.VolumeL": "size",

		"Zone.Name": "?name", "Zone.Share": "share", "Zone.Plants": "plants", "Zone.Exposure": "exposure",
		"Zone.Capacity": "capacity", "Zone.LowerLimit": "lower-limit", "Zone.RefillPoint": "refill", "Zone.StopPoint": "stop",
		"Zone.LeachingFraction": "leaching", "Zone.LeachByNeed": "leaching", "Zone.Feed": "feed",

		"Probe.DepthCM": "depth", "Probe.Calibration": "calibration",

		"Line.Name": "?name", "Line.DU": "uniformity", "Line.MaxOn": "max-on", "Line.DailyCapL": "daily-cap",
		"Line.Outlets": "!waters",
	}
}

// fields compares two structs, given as pointers.
func (c *comparer) fields(path string, was, to any) {
	a, b := reflect.ValueOf(was).Elem(), reflect.ValueOf(to).Elem()
	keys := taken()
	for i := range a.NumField() {
		f := a.Type().Field(i)
		va, vb := a.Field(i), b.Field(i)
		if same(va.Interface(), vb.Interface()) {
			continue
		}
		if c.parts(path, va.Addr().Interface(), vb.Addr().Interface()) {
			continue
		}
		key, ok := keys[a.Type().Name()+"."+f.Name]
		restart := !ok || key[0] == '!' || key[0] == '?' && !c.names
		if key = strings.TrimLeft(key, "!?"); key == "" {
			key = kebab(f.Name)
		}
		c.add(join(path, key), "changed", restart)
	}
}

// parts goes into what is compared part by part; it reports whether it did.
func (c *comparer) parts(path string, was, to any) bool {
	switch a := was.(type) {
	case *[]garden.Mix:
		byName(c, "mixes", *a, *to.(*[]garden.Mix), func(m garden.Mix) string { return string(m.ID) })
	case *[]garden.OwnCrop:
		byName(c, "crops", *a, *to.(*[]garden.OwnCrop), func(o garden.OwnCrop) string { return o.Name })
	case *[]garden.Product:
		byName(c, "products", *a, *to.(*[]garden.Product), func(p garden.Product) string { return string(p.ID) })
	case *[]garden.Pot:
		inOrder(c, "pots", *a, *to.(*[]garden.Pot), func(p garden.Pot) string { return string(p.ID) })
	case *[]garden.Zone:
		inOrder(c, path+".zones", *a, *to.(*[]garden.Zone), func(z garden.Zone) string { return zoneKey(z) })
	case *[]garden.Probe:
		inOrder(c, path+".probes", *a, *to.(*[]garden.Probe), func(p garden.Probe) string { return string(p.ID) })
	case *[]garden.Line:
		inOrder(c, "lines", *a, *to.(*[]garden.Line), func(l garden.Line) string { return string(l.ID) })
	case *garden.Supply:
		c.fields("supply", a, to)
	case *garden.Calling:
		c.fields("alarms", a, to)
	case *garden.Limits:
		c.fields("limits", a, to)
	default:
		return false
	}
	return true
}

// byName compares what may come and go while the gateway runs.
func byName[V any](c *comparer, path string, was, to []V, name func(V) string) {
	before := map[string]V{}
	for _, v := range was {
		before[name(v)] = v
	}
	for _, v := range to {
		old, had := before[name(v)]
		delete(before, name(v))
		switch {
		case !had:
			c.add(join(path, name(v)), "added", false)
		case !same(old, v):
			c.add(join(path, name(v)), "changed", false)
		}
	}
	for _, v := range was {
		if _, gone := before[name(v)]; gone {
			c.add(join(path, name(v)), "removed", false)
		}
	}
}

// inOrder compares what is numbered by its place: it must stay where it is.
func inOrder[V any](c *comparer, path string, was, to []V, name func(V) string) {
	before, after := map[string]int{}, map[string]int{}
	for i, v := range was {
		before[name(v)] = i
	}
	for i, v := range to {
		after[name(v)] = i
		if _, had := before[name(v)]; !had {
			c.add(join(path, name(v)), "added", true)
		}
	}
	last := -1
	for _, v := range was {
		at, still := after[name(v)]
		switch {
		case !still:
			c.add(join(path, name(v)), "removed", true)
			continue
		case at < last:
			c.add(join(path, name(v)), "moved", true)
		}
		last = max(last, at)
		old, now := was[before[name(v)]], to[at]
		if !same(old, now) {
			c.fields(join(path, name(v)), &old, &now)
		}
	}
}

func (c *comparer) add(path, how string, restart bool) {
	for i := range c.out {
		if c.out[i].Path == path {
			c.out[i].Restart = c.out[i].Restart || restart
			return // a size is a shape and a volume
		}
	}
	c.out = append(c.out, Change{Path: path, How: how, Restart: restart})
}

// zoneKey is a zone's key under its pot.
func zoneKey(z garden.Zone) string {
	if key, ok := strings.CutPrefix(string(z.ID), string(z.Pot)+"-"); ok {
		return key
	}
	return "main"
}

func same(a, b any) bool { return reflect.DeepEqual(a, b) }

// kebab makes a key of a field's name.
func kebab(name string) string {
	var b strings.Builder
	for i, r := range name {
		if unicode.IsUpper(r) && i > 0 {
			b.WriteByte('-')
		}
		b.WriteRune(unicode.ToLower(r))
	}
	return b.String()
}

// LocateChange says a change in words, at its place in the file it is in.
func (s *Source) LocateChange(c Change) string {
	line, column := s.Position(c.Path)
	return fmt.Sprintf("%s:%d:%d: %s: %s", s.Name, line, column, s.resolve(c.Path), c.How)
}

package page

import (
	"math"
	"slices"
	"strings"
	"time"

	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/alarm"
	"fabricpot/control/garden"
)

// zoneView is one zone in words and figures, ready to be shown.
type zoneView struct {
	ID    garden.ZoneID
	Name  string
	Held  string // "" where it is not known
	Of    string
	Needs string
	Short bool
	// Now is what it is doing.
	Now     string
	Pouring bool
	// Asked is the water that a person asked for and that waits.
	Asked    string
	NextWhat string
	NextFeed string
	ByHand   bool
	// Flags are what is not as it should be.
	Flags []string
	level level
}

// potView is one pot with its zones.
type potView struct {
	ID    garden.PotID
	Draw  drawing
	Zones []zoneView
}

// terraceModel is the Terrace view.
type terraceModel struct {
	Head headView
	Pots []potView
}

// headView is what the top of every view says of the whole garden.
type headView struct {
	Site, AsOf, Weather string
	Clock               bool
	Needs               string
	Worry               bool
	AutoOff             bool
	Silent              string
}

func (p *Page) headOf(st *runner.Status, v *visit) headView {
	h := headView{Site: p.o.Garden.Site.Name, AsOf: sprintf(tAsOf, clock(st.At, st.At)), Clock: st.Synced, AutoOff: !st.Automatic}
	var words []string
	w := st.Weather
	if w.TMinC != nil && w.TMaxC != nil {
		words = append(words, sprintf(tToday, v.temp(*w.TMinC), v.temp(*w.TMaxC)))
	}
	if w.AirC != nil {
		words = append(words, sprintf(tAirNow, v.temp(*w.AirC)))
	}
	if w.RainMM != nil {
		if *w.RainMM < 0.5 {
			words = append(words, tNoRain)
		} else {
			words = append(words, sprintf(tRain, *w.RainMM))
		}
	}
	h.Weather = strings.Join(words, ", ")
	switch n := p.needs(st); n {
	case 0:
		h.Needs = tAllWell
		for i := range st.Lines {
			if l := &st.Lines[i]; l.Open || l.Confirmed {
				continue
			}
			if h.Needs = tConfirming; !confirming(&st.Lines[i], st) {
				h.Needs, h.Worry = tUnconfirmed, true
				break
			}
		}
	case 1:
		h.Needs, h.Worry = tOneNeeds, true
	default:
		h.Needs, h.Worry = sprintf(tManyNeeds, n), true
	}
	if quiet := p.watch.quiet(st); quiet > p.patience() {
		h.Silent = sprintf(tSilent, span(quiet))
	}
	return h
}

// confirming tells that a line that is not confirmed closed was told to close just now, and
// that its alarm does not stand.
func confirming(l *runner.LineStatus, st *runner.Status) bool {
	return l.UnconfirmedS < 90 && !slices.ContainsFunc(st.Alarms, func(a runner.AlarmLine) bool {
		return a.Name == alarm.NotClosed.String() && a.About == string(l.Line)
	})
}

// needs counts what waits for a person: alarms nobody has seen and hand-tended
// pots in want.
func (p *Page) needs(st *runner.Status) int {
	n := 0
	for i := range st.Alarms {
		if st.Alarms[i].Unseen() {
			n++
		}
	}
	for i := range st.Zones {
		z := &st.Zones[i]
		if z.HandTended && z.ToRefillL != nil && *z.ToRefillL <= 0 {
			n++
		}
	}
	return n
}

// patience is after how long without news the figures count as old.
func (p *Page) patience() time.Duration { return max(3*p.o.Garden.SampleEvery, 3*time.Minute) }

func (p *Page) terraceModel(st *runner.Status, v *visit) terraceModel {
	m := terraceModel{Head: p.headOf(st, v)}
	for i := range p.o.Garden.Pots {
		if pv, ok := p.potView(&p.o.Garden.Pots[i], st, v); ok {
			m.Pots = append(m.Pots, pv)
		}
	}
	return m
}

// potView is a pot as it stands; ok is false where the status knows none of
// its zones.
func (p *Page) potView(pot *garden.Pot, st *runner.Status, v *visit) (potView, bool) {
	pv := potView{ID: pot.ID}
	var levels []level
	var words []string
	pouring := false
	for j := range pot.Zones {
		zs := zoneStatus(st, pot.Zones[j].ID)
		if zs == nil {
			continue
		}
		zv := p.zoneView(zs, st, v)
		zv.level.share = pot.Zones[j].Share
		levels = append(levels, zv.level)
		pouring = pouring || zv.Pouring
		if zv.Held == "" {
			words = append(words, sprintf(tFillNone, zv.Name))
		} else {
			words = append(words, sprintf(tFillLabel, zv.Name, zv.Held, v.volume(zs.CapacityL), v.volume(zs.RefillL)))
		}
		pv.Zones = append(pv.Zones, zv)
	}
	if len(pv.Zones) == 0 {
		return pv, false
	}
	pv.Draw = draw(p.scale, pot, levels, strings.Join(words, "; "), pouring)
	return pv, true
}

func zoneStatus(st *runner.Status, id garden.ZoneID) *runner.ZoneStatus {
	for i := range st.Zones {
		if st.Zones[i].Zone == id {
			return &st.Zones[i]
		}
	}
	return nil
}

// sharesLine tells that something grows in another zone on this one's line.
func sharesLine(st *runner.Status, id garden.ZoneID) bool {
	zs := zoneStatus(st, id)
	return zs != nil && zs.Line != "" && slices.ContainsFunc(st.Zones, func(o runner.ZoneStatus) bool {
		return o.Zone != id && o.Line == zs.Line && !o.Empty
	})
}

func lineStatus(st *runner.Status, id garden.LineID) *runner.LineStatus {
	for i := range st.Lines {
		if id != "" && st.Lines[i].Line == id {
			return &st.Lines[i]
		}
	}
	return nil
}

func (p *Page) zoneView(zs *runner.ZoneStatus, st *runner.Status, v *visit) zoneView {
	z := zoneView{ID: zs.Zone, Name: zs.Name, Of: sprintf(tOf, v.volume(zs.CapacityL))}
	if z.Name == "" {
		z.Name = string(zs.Zone)
	}
	if zs.CapacityL > 0 {
		z.level.refill = zs.RefillL / zs.CapacityL
	}
	if zs.HeldL != nil && zs.CapacityL > 0 {
		z.Held = v.volume(*zs.HeldL)
		z.level.held, z.level.known = *zs.HeldL/zs.CapacityL, true
	}
	switch {
	case zs.Empty:
		z.Needs = tNeedsNone
		if sharesLine(st, zs.Zone) {
			z.Needs = tNeedsLeft
		}
	case zs.ToRefillL == nil || zs.HoursLeft == nil:
	case *zs.ToRefillL <= 0:
		z.Needs, z.Short = tNeedsAt, true
		if short := v.volume(-*zs.ToRefillL); short != v.volume(0) {
			z.Needs = sprintf(tNeedsNow, short)
		}
	case *zs.HoursLeft >= longHours:
		z.Needs = tNeedsLong
	default:
		z.Needs = sprintf(tNeedsIn, hours(*zs.HoursLeft))
	}
	z.Now, z.Pouring = nowWords(zs, lineStatus(st, zs.Line), st.At, v)
	if a := zs.Asked; a != nil {
		z.Asked = sprintf(tWaterWaits, v.volume(a.Litres), clock(a.Until, st.At))
		if a.Waits != "" {
			z.Asked += " " + sprintf(tWaterWhy, a.Waits)
		}
	}
	z.NextWhat = nextWater(zs, st)
	if p.o.NextFeed != nil {
		z.NextFeed = v.words(p.o.NextFeed(zs.Zone))
	}
	z.ByHand = zs.HandTended
	if !zs.Trusted {
		z.Flags = append(z.Flags, tNoProbe)
	}
	return z
}

func nowWords(zs *runner.ZoneStatus, l *runner.LineStatus, now time.Time, v *visit) (string, bool) {
	if l != nil && l.Open {
		if l.OrderedL > 0 {
			return sprintf(tPulsing, v.volume(l.SoFarL), v.volume(l.OrderedL)), true
		}
		return tPulseAt, true
	}
	switch {
	case zs.ShutUntil != nil:
		return sprintf(tShutUntil, clock(*zs.ShutUntil, now)), false
	case zs.State == garden.KeptShut.String():
		return tShut, false
	case zs.State == garden.Soaking.String():
		return tSoaking, false
	}
	return tResting, false
}

func nextWater(zs *runner.ZoneStatus, st *runner.Status) string {
	if zs.HoursLeft == nil || zs.ToRefillL == nil {
		return ""
	}
	wanted := *zs.ToRefillL <= 0
	at := st.At.Add(time.Duration(*zs.HoursLeft * float64(time.Hour)))
	switch {
	case *zs.HoursLeft >= longHours:
		return ""
	case zs.HandTended && wanted:
		return tNextHandNo
	case zs.HandTended:
		return sprintf(tNextHand, clock(at, st.At))
	case zs.ShutUntil != nil && (wanted || zs.ShutUntil.After(at)):
		return tNextNever
	case !st.Automatic:
		return tNextAuto
	case wanted:
		return tNextSoon
	}
	return sprintf(tNextAbout, clock(at, st.At))
}

// longHours is as far as the gateway looks ahead.
const longHours = 239.5

// hours writes a time span in hours as a person would say it.
func hours(h float64) string {
	if !garden.Finite(h) {
		return ""
	}
	return span(time.Duration(math.Min(math.Max(h, 0), 24*365) * float64(time.Hour)))
}

// span writes a duration as a person would say it.
func span(d time.Duration) string {
	switch {
	case d < 90*time.Second:
		return sprintf("%d"+apart+"s", int(max(d, time.Second)/time.Second))
	case d < 90*time.Minute:
		return sprintf("%d"+apart+"min", int(d.Round(time.Minute)/time.Minute))
	case d < 48*time.Hour:
		return sprintf("%d"+apart+"h", int(d.Round(time.Hour)/time.Hour))
	}
	return sprintf("%d"+apart+"days", int(d.Round(24*time.Hour)/(24*time.Hour)))
}

// clock writes a time near now: the hour alone today, with the day otherwise.
func clock(t, now time.Time) string {
	t = t.In(now.Location())
	days := int(date(t).Sub(date(now)).Round(24*time.Hour).Hours() / 24)
	switch {
	case days == 0:
		return t.Format("15:04")
	case days == 1:
		return t.Format("15:04") + " tomorrow"
	case days > 1 && days < 7, days < 0 && days > -7:
		return t.Format("Monday 15:04")
	}
	return t.Format("2 January 15:04")
}

func date(t time.Time) time.Time {
	y, m, d := t.Date()
	return time.Date(y, m, d, 0, 0, 0, 0, t.Location())
}

package feed

import (
	"fmt"
	"time"

	"fabricpot/control/garden"
)

// Weak feed with every watering, usually 40 to 60 ppm N (our judgement), is the
// other way to feed a pot whose line has an injector. It is no feed of its own:
// a watering that the controller wants anyway carries it, or goes plain where
// something forbids it. Nothing waits for it and nothing is caught up.
const (
	// LeastEveryPPM and MostEveryPPM bound its strength, mg N per litre. Our
	// judgement.
	LeastEveryPPM, MostEveryPPM = 20, 100
)

// WeakCapNG is the most nitrogen that a zone of zoneL litres gets with waterings
// in any CapWindow, g: what CapDoses of the strongest feed would hold, so that
// neither way of feeding gives more than the other could.
func WeakCapNG(zoneL float64) (float64, error) {
	d, err := ContainerDose(zoneL)
	return CapDoses * d * MaxNPPM / 1000, err
}

// rounding is what a strength reckoned back from grams may be out by.
const rounding = 1e-9

// CheckEveryWatering judges the strength of a weak feed.
func CheckEveryWatering(nPPM float64) error {
	if !garden.Finite(nPPM) || nPPM < LeastEveryPPM*(1-rounding) || nPPM > MostEveryPPM*(1+rounding) {
		return fmt.Errorf("feed: %g ppm N with every watering, expected %d to %d, 40 to 60 being usual: feed stronger at intervals instead", nPPM, LeastEveryPPM, MostEveryPPM)
	}
	return nil
}

// dose is a watering with feed in it whose end is not known yet.
type dose struct {
	active bool
	feed   garden.FeedID
	litres float64
	order  garden.OrderID
	lost   time.Duration
}

// Dosing reports whether a watering with feed in it is under way.
func (s *State) Dosing() bool { return s.dose.active }

// Dose asks whether a watering of litres into the zone may carry weak feed. With
// a record, that must be on the journal before the order goes anywhere; else the
// hold tells why the water stays plain. The record is applied already; the order
// is the one under that number, which may run for maxOn.
func Dose(p *Plan, s *State, now garden.Moment, v *View, litres float64, order garden.OrderID, maxOn time.Duration) (Record, Held) {
	at, confirmed := s.clock.tick(now)
	if h := p.plain(s, v, litres, at, confirmed); h.Hold != NoHold {
		return Record{}, h
	}
	r := Record{Kind: DoseIntended, Zone: p.Zone, Feed: s.feed + 1, At: at, Litres: litres, PPM: v.PPM, Stage: v.Stage, Why: ByWatering}
	s.Apply(r)
	s.dose.order, s.dose.lost = order, now.Mono+maxOn+15*time.Minute
	return r, Held{}
}

// plain says why a watering carries no feed.
func (p *Plan) plain(s *State, v *View, litres float64, at time.Time, confirmed bool) Held {
	switch {
	case !confirmed:
		return Held{Hold: NoClock}
	case s.phase != Waiting || s.dose.active || s.restarted:
		return Held{Hold: WateringNow}
	}
	return p.forbids(s, v, litres, at)
}

// Forbids says what in the zone keeps a watering of litres into it from carrying
// feed for the zone that leads its line.
func Forbids(p *Plan, s *State, now garden.Moment, v *View, litres float64) Held {
	at, _ := s.clock.tick(now)
	return p.forbids(s, v, litres, at)
}

func (p *Plan) forbids(s *State, v *View, litres float64, at time.Time) Held {
	n := litres * v.PPM.N / 1000
	switch {
	case !garden.Finite(litres) || litres <= 0 || CheckEveryWatering(v.PPM.N) != nil || !v.PPM.Valid():
		return Held{BadPortion, litres, v.PPM.N}
	case v.TempC.Known && v.TempC.Value > HottestC:
		return Held{TooHot, v.TempC.Value, HottestC}
	case v.TempC.Known && v.TempC.Value < ColdestC:
		return Held{TooCold, v.TempC.Value, ColdestC}
	case MustLeach(v.DrainMS, v.FeedMS):
		return Held{Salty, v.DrainMS.Value, v.FeedMS.Or(0)}
	case v.FlushL.Known:
		return Held{Salty, v.FlushMS, v.FeedMS.Or(0)}
	case v.RainMM.Known && v.RainMM.Value >= HeavyRainMM:
		return Held{RainAhead, v.RainMM.Value, HeavyRainMM}
	case s.usedN(at)+n > p.CapNG:
		return Held{OverCapN, s.usedN(at), p.CapNG}
	case v.Due.First && v.Starter && v.Due.DaysSince < lastFirstDays && v.Due.NDaysLeft.Or(0) > starterLeft:
		return Held{Plenty, v.Due.NDaysLeft.Value, starterLeft}
	}
	return Held{}
}

// usedN is the nitrogen the zone got in the window before now, g.
func (s *State) usedN(now time.Time) (sum float64) {
	for _, list := range [...][]charge{s.charges, s.doses} {
		for _, c := range list {
			if now.Sub(c.at) < capWindow {
				sum += c.litres * c.nPPM / 1000
			}
		}
	}
	return sum
}

func (s *State) applyDose(r Record) {
	switch r.Kind {
	case DoseIntended:
		s.dose = dose{active: true, feed: r.Feed, litres: r.Litres}
		s.doses = append(s.doses, charge{at: r.At, feed: r.Feed, litres: r.Litres, nPPM: r.PPM.N})
		s.ppm, s.stage, s.why = r.PPM, r.Stage, r.Why
	case DoseSettled:
		if !s.dose.active || s.dose.feed != r.Feed || len(s.doses) == 0 {
			return
		}
		s.doses[len(s.doses)-1].litres = r.Litres
		s.dose = dose{}
		if r.Litres > 0 {
			s.note(r.At, r.Stage)
		}
	}
}

// Undose settles the dose of that order as not given: its record could not be
// kept, so the water went plain.
func (s *State) Undose(p *Plan, now garden.Moment, order garden.OrderID) {
	if s.dose.active && s.dose.order == order {
		s.Apply(Record{Kind: DoseSettled, Zone: p.Zone, Feed: s.dose.feed, At: s.clock.trusted})
	}
}

// doseOutcome matches a dosed watering with what is known of its end. After a
// restart it counts as given in full.
func (st *stepper) doseOutcome() {
	s := st.s
	if !s.dose.active || !s.clock.running {
		return
	}
	end := func(litres float64, uncertain bool) {
		if !garden.Finite(litres) {
			litres, uncertain = s.dose.litres, true
		}
		st.recordOf(Record{Kind: DoseSettled, Feed: s.dose.feed, Litres: litres, Uncertain: uncertain})
	}
	if s.dose.order == 0 {
		end(s.dose.litres, true)
		return
	}
	for i := range st.v.Delivered {
		if d := &st.v.Delivered[i]; d.Order == s.dose.order {
			if d.End == garden.Unfinished {
				end(s.dose.litres, true)
			} else {
				end(max(0, d.DosedL)*st.p.LineShare, false)
			}
			return
		}
	}
	for i := range st.v.Refused {
		if st.v.Refused[i].Order == s.dose.order {
			end(0, false)
			return
		}
	}
	if st.now.Mono >= s.dose.lost {
		end(s.dose.litres, true)
	}
}

// recordOf makes a record that keeps its own feed number.
func (st *stepper) recordOf(r Record) {
	r.Zone, r.At = st.p.Zone, st.at
	r.PPM, r.Stage, r.Why = st.s.ppm, st.s.stage, st.s.why
	st.out.Records = append(st.out.Records, r)
	st.s.Apply(r)
}

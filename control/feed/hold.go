package feed

import (
	"fmt"

	"fabricpot/control/garden"
)

// Hold is why a feed that is due waits.
type Hold uint8

const (
	// NoHold: nothing is held back.
	NoHold Hold = iota
	// NothingDue: no feed is due.
	NothingDue
	// NoClock: feed days wait for a clock that a time source or the gardener
	// confirmed.
	NoClock
	// TooSoon: less than MinGap after the last, or a retry has to wait.
	TooSoon
	// OverCap: the cap for the window is used up.
	OverCap
	// TooHot and TooCold: mix temperature.
	TooHot
	TooCold
	// Salty: drainage conductivity is high; leach instead.
	Salty
	// Saturated: no air in the mix to spare.
	Saturated
	// RainAhead: heavy rain would wash it out.
	RainAhead
	// NoReading: nothing trustworthy tells how wet the mix is.
	NoReading
	// NoRoom: the dose would run out below.
	NoRoom
	// NextWatering: it joins the watering that is near.
	NextWatering
	// WateringNow: a watering is under way.
	WateringNow
	// LineShut: the line may not run now.
	LineShut
	// TakesNoWater: moistening did nothing; water runs through dry mix.
	TakesNoWater
	// BadPortion: the portion is over a limit or no amount.
	BadPortion
	// TaskOpen: the gardener has it.
	TaskOpen
	// Plenty: the starter charge still carries the plants.
	Plenty
	// OverCapN: the cap on nitrogen for the window is used up.
	OverCapN
)

// Held is a hold with the figures behind it.
type Held struct {
	Hold Hold
	// A is the figure found, B the limit.
	A, B float64
}

func (h Held) String() string {
	switch h.Hold {
	case NoHold:
		return ""
	case NothingDue:
		return "no feed is due"
	case NoClock:
		return "the clock is not confirmed: feed days wait until a time source or you confirm it"
	case TooSoon:
		return fmt.Sprintf("too soon: %.1f days after the last feed, at least %.0f between two", h.A, h.B)
	case OverCap:
		return fmt.Sprintf("%.1f L were given in the last days and the limit is %.1f L", h.A, h.B)
	case TooHot:
		return fmt.Sprintf("the mix has %.0f °C, feed waits until it is under %.0f °C", h.A, h.B)
	case TooCold:
		return fmt.Sprintf("the mix has %.0f °C, feed waits until it is over %.0f °C", h.A, h.B)
	case Salty:
		return fmt.Sprintf("the pot's water has %.1f mS/cm against %.1f in the feed: leach with plain water first", h.A, h.B)
	case Saturated:
		return fmt.Sprintf("the pot is full (%.0f %% water, full from %.0f): let it dry", 100*h.A, 100*h.B)
	case RainAhead:
		return fmt.Sprintf("%.0f mm of rain are expected, %.0f would wash it out", h.A, h.B)
	case NoReading:
		return "nothing trustworthy tells how wet the mix is"
	case NoRoom:
		return fmt.Sprintf("the pot can take %.1f L without draining, the feed is %.1f L", h.A, h.B)
	case NextWatering:
		return fmt.Sprintf("joins the next watering in about %.0f h", h.A)
	case WateringNow:
		return "a watering is under way"
	case LineShut:
		return "the line may not run now"
	case TakesNoWater:
		return fmt.Sprintf("still at %.0f %% water after moistening: water runs past dry mix; moisten it by hand, slowly", 100*h.A)
	case BadPortion:
		return fmt.Sprintf("a portion of %.1f L at %.0f ppm N is outside the limits", h.A, h.B)
	case Plenty:
		return fmt.Sprintf("the starter charge holds nitrogen for %.0f days more", h.A)
	case OverCapN:
		return fmt.Sprintf("%.1f g of nitrogen were given in the last days and the limit is %.1f g", h.A, h.B)
	case TaskOpen:
		return "waits for the gardener"
	}
	return "held back"
}

// View is what one tick shows the sequence of its zone.
type View struct {
	Due     Due
	Portion Portion
	// PPM is the solution's strength, all three elements.
	PPM   NPK
	Stage Stage
	// Water is the zone's mean water fraction, absent unless trustworthy.
	Water garden.Measured
	// TempC is the mix temperature; where it is not measured, air temperature
	// may stand in. Absent vetoes nothing.
	TempC garden.Measured
	// RainMM is expected within the next twelve hours.
	RainMM garden.Measured
	// RainL is what that brings into the zone, L; absent, heavy rain holds any feed.
	RainL garden.Measured
	// DrainMS and FeedMS are the last drainage reading and the feed's EC.
	DrainMS, FeedMS garden.Measured
	// Starter tells that the mix began with a starter charge.
	Starter bool
	// OverL is how much a late feed may stand over capacity, L.
	OverL float64
	// HoursToRefill is when the controller would water next; absent if unknown.
	HoursToRefill garden.Measured
	// Watering: the controller has a watering of its own under way here.
	Watering bool
	// Draining: water runs out below now.
	Draining bool
	// Blocked: the line may not run now (hours, kept shut, frost, tank, journal).
	Blocked bool
	// FlushL is how much plain water a flush is to give the zone, absent where
	// none is wanted now; FlushMS the conductivity behind it, 0 where unknown.
	FlushL  garden.Measured
	FlushMS float64
	// FlushWholeL is what the flush should give in all, of which the line's limit
	// may leave a part for today, L.
	FlushWholeL float64
	// FlushBlocked is Blocked for the line of plain water.
	FlushBlocked bool
	// Delivered and Refused may hold other zones' outcomes too.
	Delivered []garden.Delivery
	Refused   []garden.Refusal
}

// veto judges whether a due feed may begin now. by hand zones have looser rules
// where a person sees what a probe would tell.
func veto(p *Plan, s *State, v *View, used float64) Held {
	byHand := p.Line == ""
	switch {
	case !garden.Finite(v.Portion.Litres) || v.Portion.Litres <= 0 || v.Portion.Litres > MaxDosePerVolume*p.VolumeL ||
		CheckStrength(v.Portion.NPPM) != nil || !v.PPM.Valid():
		return Held{BadPortion, v.Portion.Litres, v.Portion.NPPM}
	case used+v.Portion.Litres > p.CapL:
		return Held{OverCap, used, p.CapL}
	case v.TempC.Known && v.TempC.Value > HottestC:
		return Held{TooHot, v.TempC.Value, HottestC}
	case v.TempC.Known && v.TempC.Value < ColdestC:
		return Held{TooCold, v.TempC.Value, ColdestC}
	case MustLeach(v.DrainMS, v.FeedMS):
		return Held{Salty, v.DrainMS.Value, v.FeedMS.Or(0)}
	case v.RainMM.Known && v.RainMM.Value >= HeavyRainMM && !p.bothFit(v):
		return Held{RainAhead, v.RainMM.Value, HeavyRainMM}
	case v.Draining:
		return Held{Saturated, v.Water.Or(1), 1}
	case p.Capacity > 0 && v.Water.Known && v.Water.Value >= p.fullAbove() && !(v.OverL > 0 && p.roomFor(v) >= v.Portion.Litres):
		return Held{Saturated, v.Water.Value, p.fullAbove()}
	case byHand:
		return Held{}
	case !v.Water.Known:
		return Held{Hold: NoReading}
	case v.Watering:
		return Held{Hold: WateringNow}
	case v.Blocked:
		return Held{Hold: LineShut}
	}
	if room := p.roomFor(v); room < v.Portion.Litres {
		return Held{NoRoom, room, v.Portion.Litres}
	}
	if h := v.HoursToRefill; h.Known && h.Value > 0 && h.Value <= p.Timing.JoinWithin.Hours() && v.Due.OverdueDays < p.Timing.JoinForDays {
		return Held{NextWatering, h.Value, p.Timing.JoinWithin.Hours()}
	}
	return Held{}
}

// bothFit tells whether the zone takes its feed and the rain to come, so that
// nothing is washed out.
func (p *Plan) bothFit(v *View) bool {
	return p.Capacity > 0 && v.Water.Known && v.RainL.Known && p.roomFor(v) >= v.Portion.Litres+v.RainL.Value
}

// soakRoom is the room that a feed and the water that carries it down may take, L:
// heavy rain carries it down itself, and keeps its part.
func (p *Plan) soakRoom(v *View) float64 {
	room := p.room(v.Water.Value)
	if v.RainMM.Or(0) >= HeavyRainMM {
		room = max(0, room-v.RainL.Or(0))
	}
	return room
}

// roomFor is how much of a feed the zone takes, L.
func (p *Plan) roomFor(v *View) float64 {
	return max(0, (p.Capacity-v.Water.Value)*p.VolumeL+v.OverL)
}

// room is how much the zone takes up to container capacity, L.
func (p *Plan) room(water float64) float64 { return max(0, p.Capacity-water) * p.VolumeL }

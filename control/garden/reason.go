package garden

import "fmt"

// ReasonCode is the rule behind a decision.
type ReasonCode uint8

const (
	// NoReason is the zero value.
	NoReason ReasonCode = iota
	// BelowRefill: A = water fraction, B = refill point, C = litres to refill.
	BelowRefill
	// NextPulse: A = pulse number, B = pulses planned, C = litres still owed.
	NextPulse
	// BalanceSaysDry: no trustworthy probe; A = litres the balance says were
	// lost, B = allowance over the modelled loss (1.1 = 110 %).
	BalanceSaysDry
	// SurvivalDose: A = litres of the daily dose.
	SurvivalDose
	// AskedFor: A = litres a person or hub asked for.
	AskedFor
	// BeforeClosedHours: A = hours until watering is closed, B = hours the zone would last.
	BeforeClosedHours
	// BeforeHeat: A = hours until the hottest hours, B = hours the zone would last.
	BeforeHeat
	// RainExpected: held back; A = mm expected, B = hours the zone can wait.
	RainExpected
	// FeedDue: A = litres of solution, B = days since the last feed.
	FeedDue
	// FlowTest: A = litres.
	FlowTest
	// Topping: verification at rest found it short; A = water fraction, B = wanted.
	Topping
	// MoistenForFeed: A = water fraction, B = wanted before a feed, C = litres.
	MoistenForFeed
	// CarryFeedDown: A = litres of plain water after a feed.
	CarryFeedDown
	// LeachSalts: A = litres of plain water to wash salts out, B = mS/cm found.
	LeachSalts
	// DepthUnseen: no probe tells of the depth; A = litres missing by the balance.
	DepthUnseen
	// RefillAndWash: under the refill point, and salts are to be washed out; A = water
	// fraction, B = litres that are to drain, C = litres in all.
	RefillAndWash
)

// Reason says in figures why something was decided; String says it in words.
// It is a small value, so that making one costs no allocation.
type Reason struct {
	Code    ReasonCode
	A, B, C float64
}

func (r Reason) String() string {
	switch r.Code {
	case BelowRefill:
		return fmt.Sprintf("holds %.1f %% water, under its refill point of %.1f %%: %.1f L to refill", 100*r.A, 100*r.B, r.C)
	case RefillAndWash:
		return fmt.Sprintf("holds %.1f %% water, under its refill point: %.1f L to refill it and to wash salts out, %.1f L of them to drain", 100*r.A, r.C, r.B)
	case NextPulse:
		return fmt.Sprintf("pulse %.0f of %.0f, %.1f L still to give", r.A, r.B, r.C)
	case BalanceSaysDry:
		return fmt.Sprintf("no trustworthy probe: by the water balance %.1f L were lost, replaced at %.0f %%", r.A, 100*r.B)
	case SurvivalDose:
		return fmt.Sprintf("automatic control is off: the day's survival dose of %.1f L", r.A)
	case AskedFor:
		return fmt.Sprintf("asked for by hand: %.1f L", r.A)
	case BeforeClosedHours:
		return fmt.Sprintf("watering closes in %.1f h and the water would last %.1f h", r.A, r.B)
	case BeforeHeat:
		return fmt.Sprintf("the hottest hours begin in %.1f h and the water would last %.1f h", r.A, r.B)
	case RainExpected:
		return fmt.Sprintf("%.0f mm of rain expected and the water lasts %.1f h", r.A, r.B)
	case FeedDue:
		return fmt.Sprintf("feed is due: %.1f L of solution, %.0f days after the last", r.A, r.B)
	case FlowTest:
		return fmt.Sprintf("measuring the line: %.1f L", r.A)
	case Topping:
		return fmt.Sprintf("after the soak it holds %.1f %% where %.1f %% was wanted", 100*r.A, 100*r.B)
	case MoistenForFeed:
		return fmt.Sprintf("feed is due and the mix is dry (%.1f %% water, %.1f %% wanted): %.1f L first", 100*r.A, 100*r.B, r.C)
	case LeachSalts:
		if r.B > 0 {
			return fmt.Sprintf("%.1f L of plain water to wash salts out: %.1f mS/cm in the root zone", r.A, r.B)
		}
		return fmt.Sprintf("%.1f L of plain water to wash salts out", r.A)
	case DepthUnseen:
		return fmt.Sprintf("no probe sees the depth and by the water balance %.1f L are missing: watered through", r.A)
	case CarryFeedDown:
		return fmt.Sprintf("%.1f L of plain water to carry the feed down", r.A)
	}
	return "no reason given"
}

package control

import (
	"fmt"
	"math"
	"time"

	"fabricpot/control/garden"
)

// ZoneView is what a page shows of one zone. It is plain data.
type ZoneView struct {
	Zone  garden.ZoneID
	Line  garden.LineID
	State garden.ZoneState
	// Empty tells that all that grew in the zone was pulled: it needs no water.
	Empty bool
	// Known tells that a reading or a person said where the zone stands;
	// otherwise Water is a guess. OnProbe tells that a good reading is fresh.
	Known, OnProbe bool
	// NoAnswer tells that none of the zone's probes moved after water that must
	// have reached them, and none has since: it may not have come.
	NoAnswer bool
	// Water is the mean of the zone and SD its standard deviation, m³/m³.
	Water garden.WaterFraction
	SD    float64
	// Capacity, Refill and Stop are today's points.
	Capacity, Refill, Stop garden.WaterFraction
	// HeldL is the water in the zone over its lower limit, L; ToRefillL what
	// may still be lost until the refill point, negative under it.
	HeldL, ToRefillL float64
	// HoursToRefill and HoursToLimit are by the expected loss, at most 240.
	HoursToRefill, HoursToLimit float64
	// HoursSoonest and HoursLatest bound HoursToRefill by a standard deviation
	// of the water and of the factor together.
	HoursSoonest, HoursLatest float64
	// LossTodayL is the expected loss of the whole day, L.
	LossTodayL float64
	// BookL is what the book says the zone lost since the state was made, L.
	BookL float64
	// Factor is how much this zone drinks against the book.
	Factor float64
	// RootFraction is how much of the depth the roots reach.
	RootFraction float64
	// LastWhy is why water was last ordered for the zone; LastL and LastAt
	// what it last got.
	LastWhy garden.Reason
	LastL   float64
	LastAt  garden.Moment
	// GivenTodayL and CapL are the line's litres of the last 24 hours and its
	// limit.
	GivenTodayL, CapL float64
	// AskedL is what a person asked for and has not been given yet, L; it is given up at
	// AskedTill, on Mono, and waits for the end of AskedWaits.
	AskedL     float64
	AskedTill  time.Duration
	AskedWaits garden.RefusalCause
	// Salts are those that the supply's water brought, and what food adds.
	Salts SaltView
}

// SaltView is an account of what the supply's water brought into a zone and no drainage
// took away, and of what dissolved food adds as long as it is there: of salts that cost
// harvest. Without one all is zero.
type SaltView struct {
	// FoodMS is the part of MS that food adds, 0 in a zone that nobody feeds.
	FoodMS float64 `json:"food_ms,omitempty"`
	// MS is the mean conductivity that these salts give to the water that the drained zone
	// holds, mS/cm: Porosity/Capacity times that of the extract of the saturated mix (ECe,
	// in which tolerances are told), and about half of what drains, two thirds where all is food.
	MS float64 `json:"salt_ms"`
	// WashAtMS is from where on they are washed out, mS/cm of the same water, and CostPC
	// what they cost there, percent of the harvest of Crop, which suffers most.
	WashAtMS float64 `json:"wash_at_ms"`
	CostPC   float64 `json:"cost_percent"`
	Crop     string  `json:"crop"`
	// WashL is what is to drain for it, with the next watering or several, L; 0 while no
	// wash is wanted. Through is when a twentieth of the zone's volume or more last drained
	// in one go, whatever brought it; zero where that is not known.
	WashL   float64   `json:"wash_l"`
	Through time.Time `json:"washed_through_at,omitzero"`
}

// Kept tells that there is such an account.
func (v *SaltView) Kept() bool { return v.WashAtMS > 0 }

// Limit says from where on and why.
func (v *SaltView) Limit() string {
	return fmt.Sprintf("washed out from %.1f on (%.0f %% of the %s harvest)", v.WashAtMS, v.CostPC, v.Crop)
}

// String says it in a line.
func (v *SaltView) String() string {
	s := fmt.Sprintf("%.1f mS/cm", v.MS)
	if v.FoodMS >= 0.05 {
		s += fmt.Sprintf(", %.1f of it food", v.FoodMS)
	}
	s += "; " + v.Limit()
	if v.WashL > 0 {
		s += fmt.Sprintf(": %.1f L are to drain", v.WashL)
	}
	if !v.Through.IsZero() {
		s += v.Through.Format("; last washed through 2 January")
	}
	return s
}

// Salts is a zone's account before it has begun: its limit and whose it is.
func (z *ZonePlan) Salts() SaltView {
	if z.washing.waterMS == 0 {
		return SaltView{}
	}
	return SaltView{WashAtMS: z.washing.at / z.washing.heldL, CostPC: 100 * z.saltCost, Crop: z.saltCrop}
}

// saltView is the zone's account of salts as people see it.
func (z *zoneState) saltView(zp *ZonePlan) SaltView {
	if !z.salts.begun {
		return SaltView{}
	}
	v := zp.Salts()
	if !v.Kept() {
		return v
	}
	v.FoodMS, v.Through = z.salts.food/zp.washing.heldL, z.salts.through
	v.MS = z.salts.load/zp.washing.heldL + v.FoodMS
	if l := z.salts.needL - z.runs(zp); l >= washShare*zp.VolumeL {
		v.WashL = l
	}
	return v
}

// SkyView is what the demand of the day is reckoned with.
type SkyView struct {
	// TodayMM and NextMM are reference evapotranspiration of today and of the
	// next day, mm.
	TodayMM, NextMM float64
	// Method says how today's was found, Estimated what of it was not measured.
	// The caller must not change it.
	Method    string
	Estimated []string
	// RainAheadMM is the rain of today and the next day as forecast, mm.
	RainAheadMM float64
}

// WashesByNeed tells whether as much drains from a zone as salts ask for; false for one
// that the plan does not know.
func (p *Plan) WashesByNeed(zone garden.ZoneID) bool {
	i := p.zoneIndex(zone)
	return i >= 0 && p.zones[i].LeachByNeed
}

// Sky is the demand that the last Step reckoned with.
func (p *Plan) Sky(st *State) SkyView {
	s := &st.sky
	return SkyView{TodayMM: s.etoMM, NextMM: s.nextMM, Method: s.eto.Method, Estimated: s.eto.Estimated, RainAheadMM: s.rainAheadMM}
}

// levelSD is the doubt that all readings of a zone share, m³/m³.
func (p *Plan) levelSD(i int) float64 {
	sum, n := 0.0, 0
	for _, pi := range p.zones[i].probes {
		sum += p.probes[pi].levelSD * p.probes[pi].levelSD
		n++
	}
	if n == 0 {
		return 0
	}
	return math.Sqrt(sum) / float64(n)
}

// View appends what the zones look like at now, in the garden's order.
func (p *Plan) View(st *State, now garden.Moment, dst []ZoneView) []ZoneView {
	n := len(dst)
	dst = p.Look(st, now, dst)
	h := solarHour(p, now)
	for i := range p.zones {
		z, zp, v := &st.zones[i], &p.zones[i], &dst[n+i]
		v.SD = math.Hypot(z.water.SD(), p.levelSD(i))
		if per := z.lossPerMM * z.water.Factor; per > 0 && !v.Empty {
			mm := v.ToRefillL / per
			// The relative doubt of the factor is one of the mm left as well.
			sd := math.Hypot(v.SD*zp.VolumeL/per, mm*math.Sqrt(z.water.VarFactor)/z.water.Factor)
			v.HoursSoonest, v.HoursLatest = st.sky.until(h, max(0, mm-sd)), st.sky.until(h, max(0, mm+sd))
		} else {
			v.HoursSoonest, v.HoursLatest = mostHours, mostHours
		}
	}
	return dst
}

// Look is View without what tells of doubt: SD, HoursSoonest and HoursLatest stay
// 0. It is what is asked for in every tick in which something is decided by it.
func (p *Plan) Look(st *State, now garden.Moment, dst []ZoneView) []ZoneView {
	n := len(dst)
	dst = p.Glance(st, now, dst)
	h := solarHour(p, now)
	for i := range p.zones {
		z, v := &st.zones[i], &dst[n+i]
		if per := z.lossPerMM * z.water.Factor; per > 0 && !v.Empty {
			v.HoursToRefill = st.sky.until(h, max(0, v.ToRefillL)/per)
			v.HoursToLimit = st.sky.until(h, v.HeldL/per)
		} else {
			v.HoursToRefill, v.HoursToLimit = mostHours, mostHours
		}
	}
	return dst
}

// Glance is Look without the hours ahead, which stay 0 too and take most of the time.
func (p *Plan) Glance(st *State, now garden.Moment, dst []ZoneView) []ZoneView {
	for i := range p.zones {
		z, zp := &st.zones[i], &p.zones[i]
		v := ZoneView{
			Zone: zp.ID, Line: zp.Line, Empty: z.empty(), Known: z.known, OnProbe: z.trusted && z.known,
			Water: garden.WaterFraction(z.water.Mean), Capacity: zp.Capacity, Refill: garden.WaterFraction(z.refillAt(zp)), Stop: zp.Stop,
			HeldL:      max(0, (z.water.Mean-float64(zp.LowerLimit))*zp.VolumeL),
			ToRefillL:  (z.water.Mean - z.refillAt(zp)) * zp.VolumeL,
			BookL:      z.spent * zp.VolumeL,
			LossTodayL: st.sky.etoMM * z.lossPerMM * z.water.Factor,
			Factor:     z.water.Factor, RootFraction: z.root,
			LastWhy: z.lastWhy, LastL: z.lastL, LastAt: z.lastAt,
			NoAnswer: z.dumb && !z.trusted, Salts: z.saltView(zp),
		}
		if zp.line >= 0 {
			l := &st.lines[zp.line]
			v.State, v.GivenTodayL = l.phase, l.given.sum(now.Mono)
			v.CapL, _ = p.budgets(st, zp.line, now)
		}
		if z.shut {
			v.State = garden.KeptShut
		}
		if z.asked > 0 {
			v.AskedL, v.AskedTill, v.AskedWaits = z.asked, z.askedAt+AskLasts, p.waitsFor(st, i, now)
		}
		dst = append(dst, v)
	}
	return dst
}

package control

import (
	"slices"
	"time"

	"fabricpot/control/balance"
	"fabricpot/control/garden"
)

// State is what the controller remembers between ticks. It is plain data: one
// goroutine owns it, and Clone copies it whole.
type State struct {
	// NextOrder is the id the next order gets. The caller seeds it above every
	// order id ever used.
	NextOrder garden.OrderID
	// AutoOff tells that automatic control is off: survival doses only. An Ask
	// sets it; the caller may too.
	AutoOff bool

	began bool
	// replanted tells that what grows has changed since it was last reckoned.
	replanted bool
	last      garden.Moment
	synced    garden.Moment // the last of a clock that was right, as far as anybody knew
	clockTill time.Duration // on Mono: until then the clock may be wrong
	knownTill time.Time     // of the memory that was recalled, zero for none
	timeless  bool          // there was one, and nobody knows of when
	// knownOrders is the first that it can't have, 0 where that is not known, openOrders
	// those that were under way.
	knownOrders garden.OrderID
	openOrders  []garden.OrderID
	// unseen is for how long nobody watched before the first tick, as far as a memory and
	// a confirmed clock tell.
	unseen  time.Duration
	wasOff  bool
	offFrom time.Duration // on Mono: when automatic control went off
	sky     sky
	zones   []zoneState
	lines   []lineState
	probes  []probeState
	wishes  []wish
	stops   []Stop
	events  []Event
	between []Event // noted since the last Step: see Forget
	tick    tick    // of the last account
	// toldNext is the zone after the last that was told of: see zoneAfter.
	toldNext int
}

// SwitchedOff turns automatic control off as of a moment on Mono, which may lie before
// the gateway's start: a survival dose waits an hour from then on.
func (st *State) SwitchedOff(at time.Duration) { st.AutoOff, st.wasOff, st.offFrom = true, true, at }

// Stop asks that an open line be closed early. The caller hands it to the guard
// at once; the delivery that follows says how much went through.
type Stop struct {
	Line  garden.LineID
	Order garden.OrderID
	Zone  garden.ZoneID
	// Probe and its reading Water say that water is about to drain; Probe is
	// empty where the zone is to be kept shut or automatic control went off.
	Probe garden.ProbeID
	Water garden.WaterFraction
}

// Stops are the early stops the last Step asks for. The slice is reused by the
// next Step.
func (st *State) Stops() []Stop { return st.stops }

// Events are what the last Step noticed, and what was given up between it and the one
// before. The slice is reused by the next Step.
func (st *State) Events() []Event { return st.events }

// Clone returns a copy that shares nothing.
func (st *State) Clone() *State {
	c := *st
	c.zones = append([]zoneState(nil), st.zones...)
	for i := range c.zones {
		c.zones[i].plants = append([]plantState(nil), st.zones[i].plants...)
	}
	c.lines = append([]lineState(nil), st.lines...)
	c.probes = append([]probeState(nil), st.probes...)
	c.wishes = append(make([]wish, 0, cap(st.wishes)), st.wishes...)
	c.stops = append(make([]Stop, 0, cap(st.stops)), st.stops...)
	c.events = append(make([]Event, 0, cap(st.events)), st.events...)
	c.between = append(make([]Event, 0, cap(st.between)), st.between...)
	c.openOrders = slices.Clone(st.openOrders)
	return &c
}

type zoneState struct {
	water balance.Filter
	// known is set once a good reading, or the gardener, said where the zone
	// stands; until then water is a guess.
	known bool
	// Of the day, from the plants' stage.
	lossPerMM float64 // litres lost per mm of reference evapotranspiration
	canopyM2  float64
	plants    []plantState
	place     placeState
	root      float64
	band      float64
	// good is when a good reading last counted, hasGood whether ever.
	good    time.Duration
	hasGood bool
	trusted bool // this tick: good within trustFor
	fresh   bool // this tick: a good reading came in
	// under is for how long the zone has been under its refill point on good
	// readings without a break.
	under    time.Duration
	isUnder  bool
	wetAt    time.Duration // last water of any kind, on Mono
	hasWater bool
	// dumb tells that no probe moved after water, and none has answered since.
	dumb     bool
	short    float64 // litres missing by the cautious balance, no probe
	dryLoss  float64 // of these, modelled loss without the allowance
	asked    float64 // litres a person asked for
	askedAt  time.Duration
	shut     bool
	shutTill time.Duration
	lastWhy  garden.Reason
	lastL    float64
	lastAt   garden.Moment
	// spent is the modelled loss so far, m³/m³; dry, drySpent and dryAt are
	// where a drying began that the zone's factor is learnt from.
	spent    float64
	drying   bool
	dry      float64
	dryNow   float64
	drySpent float64
	dryAt    time.Duration
	// salt is by what a reading's error grows after a feed, 1 and 0 for not.
	salt  float64
	salts salts
	// washLater tells that the zone's feeding wants its wash after the next feed.
	washLater bool
	// blind tells that no trusted fresh probe stands near the floor.
	// half tells that one stands low enough at least to weigh spans by.
	blind, half bool
	span        span
	// over tells that it has read over its capacity since overAt without a break.
	over    bool
	overAt  time.Duration
	uneven  uneven
	arrival arrival
	odd     odd
	came    came
	anchor  anchor
	depth   depth
	doubt   doubt
	// before is the mean at the start of the last session, gave the litres of it,
	// spentFrom what was spent by then.
	before, gave, spentFrom float64
	// wasSalts and wasMay are its salts and what might drain for them, L, then.
	// used tells that people said something of it since the start, or asked for water.
	used       bool
	wasSalts   salts
	wasMay     float64
	survivedAt time.Duration
	survived   bool
}

type probeState struct {
	smooth     float64
	has        bool
	at         time.Duration
	start      float64 // at the session's start
	least      float64 // lowest since
	rise       float64 // most it has risen over the lowest since
	started    bool
	distrusted bool
	confused   bool // it seems to hang in another pot
	beyond     bool // this tick: it reads beyond its wettest point
	// low and high are the reading's bounds, given the litres into the zone and
	// most those of its largest watering, since the probe last answered.
	low, high, given, most float64
	wetTicks               int
	came                   cameProbe
}

type lineState struct {
	phase   garden.ZoneState
	order   garden.OrderID
	ordered float64
	at      time.Duration // when ordered
	maxOn   time.Duration
	kind    garden.OrderKind
	why     garden.Reason
	lead    int
	// Of the session: litres still owed through the line, pulses planned and
	// done, and what one pulse is.
	owed      float64
	pulse     float64
	planned   int
	done      int
	soakTill  time.Duration
	retryAt   time.Duration
	refusal   garden.RefusalCause // why nothing begins before retryAt
	ended     garden.RefusalCause // why this opening is the session's last
	lookAt    time.Duration       // after an early stop: nothing by itself before
	closed    time.Duration
	hasClosed bool
	// verifyAt is when the soaked zones are looked at again.
	verifyAt time.Duration
	verify   bool
	topped   bool
	through  bool          // this watering is meant to come out below
	cut      bool          // and waits for closed hours to end
	waiting  time.Duration // since it first wanted water and got none
	waits    bool
	lent     bool   // to a feed: nothing of ours begins on it
	lentOpen bool   // and it may be open for that feed
	keptDry  bool   // for a feed to come: nothing begins on it that nobody asked for
	given    ledger // everything that went through
	guessed  ledger // the part of kind Estimated
	hold     hold   // of a reload that loosened its budgets
	flow     lineFlow
	used     bool // an order or water came of it since the start
}

type wish struct {
	line    int
	urgency float64
	litres  float64
}

// NewState makes the state of a garden that nothing is known about yet.
func (p *Plan) NewState() *State {
	st := &State{
		NextOrder: 1,
		zones:     make([]zoneState, len(p.zones)),
		lines:     make([]lineState, len(p.lines)),
		probes:    make([]probeState, len(p.probes)),
		wishes:    make([]wish, 0, len(p.lines)),
		stops:     make([]Stop, 0, len(p.lines)),
		events:    make([]Event, 0, 2*len(p.zones)+len(p.lines)+len(p.probes)+8),
		between:   make([]Event, 0, len(p.zones)+len(p.lines)+8),
	}
	for i := range st.zones {
		z, zp := &st.zones[i], &p.zones[i]
		z.root, z.band = 1, zp.band(1)
		z.plants, z.place = zp.newPlants(), zp.newPlace()
		// Neither full nor dry is known: half the band, with a wide doubt.
		z.water = balance.NewFilter(float64(zp.Capacity)-z.band/2, 0.08, 1, guessedFactorSD)
		z.short = z.band / 2 * zp.VolumeL
	}
	return st
}

// ledger sums litres over the last 24 hours in hourly boxes. The oldest box
// counts in full, so the sum never forgets too early.
type ledger struct {
	box  [25]float64
	hour [25]int64
}

func hourOf(mono time.Duration) int64 {
	h := int64(mono / time.Hour)
	if mono%time.Hour < 0 {
		h--
	}
	return h
}

func (l *ledger) add(mono time.Duration, litres float64) {
	h := hourOf(mono)
	i := ((h % 25) + 25) % 25
	if l.hour[i] != h {
		l.box[i], l.hour[i] = 0, h
	}
	l.box[i] += litres
}

func (l *ledger) sum(mono time.Duration) float64 {
	h := hourOf(mono)
	var s float64
	for i := range l.box {
		if l.hour[i] >= h-24 && l.hour[i] <= h {
			s += l.box[i]
		}
	}
	return s
}

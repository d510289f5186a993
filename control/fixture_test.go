package control

import (
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"fabricpot/control/garden"
)

// The mix of these tests: illustrative, peat-perlite-like.
var testMix = garden.Mix{
	ID: "mix", Name: "test mix",
	Retention: garden.Retention{Model: garden.VanGenuchten, ThetaR: .10, ThetaS: .88, AlphaPerCM: .15, N: 1.60, KsCMH: 30},
}

// testGarden has n cylinders of 75 L, each with one zone, one aubergine, a probe
// at depthCM and a line of 4 L/h.
func testGarden(n int, depthCM float64) *garden.Garden {
	g := &garden.Garden{
		Site:        garden.Site{Name: "test terrace", ID: "test", LatDeg: 40.6, LonDeg: 22.9, Zone: time.UTC, Coastal: true},
		Mixes:       []garden.Mix{testMix},
		Supply:      garden.Supply{FlowLPH: 1e6},
		Limits:      garden.DefaultLimits(),
		SampleEvery: time.Minute,
	}
	for i := range n {
		id := fmt.Sprintf("pot%d", i)
		z := garden.Zone{
			ID: garden.ZoneID(id), Pot: garden.PotID(id), Share: 1, Line: garden.LineID("line-" + id), Exposure: garden.OpenAir,
			Plants: []garden.Plant{{Crop: "aubergine", Count: 1}},
			Probes: []garden.Probe{{ID: garden.ProbeID(id + "-probe"), Zone: garden.ZoneID(id), DepthCM: depthCM}},
		}
		g.Pots = append(g.Pots, garden.Pot{
			ID: garden.PotID(id), Mix: "mix", VolumeL: 75,
			Shape: garden.Shape{HeightCM: 45, BottomDiameterCM: 46, TopDiameterCM: 46},
			Zones: []garden.Zone{z},
		})
		g.Lines = append(g.Lines, garden.Line{
			ID: z.Line, DU: 0.9,
			Outlets: []garden.Outlet{{Zone: z.ID, Emitters: 2, FlowLPH: 4}},
		})
	}
	return g
}

// bench is a deterministic stand-in for pots: one bucket per zone that drains
// what is over capacity, and probes that see what the controller expects of its mean.
type bench struct {
	t       testing.TB
	p       *Plan
	st      *State
	now     garden.Moment
	mean    []float64
	obs     garden.Observed
	demand  float64 // factor on the modelled loss
	quality garden.Quality
	fault   garden.ReadingFault
	lie     func(probe int, v float64) float64
	orders  []garden.Order
	open    map[garden.LineID]garden.Order
	openAt  map[garden.LineID]garden.Moment
	ends    map[garden.LineID]time.Duration
	drained float64
	applied float64
	log     []garden.Order
	events  []Event
	pend    []garden.Delivery
	parts   []float64 // what each zone gets of its share, 1 where there is none
	silent  bool      // deliveries carry no water: clogged
	told    func(*garden.Delivery)
	gave    []garden.Delivery
}

func newBench(t testing.TB, g *garden.Garden) *bench {
	p, problems, err := NewPlan(g)
	require.NoError(t, err, "%v", problems)
	b := &bench{
		t: t, p: p, st: p.NewState(), demand: 1, quality: garden.Good,
		now:  garden.Moment{Mono: time.Hour, Wall: time.Date(2014, 7, 1, 0, 0, 0, 0, time.UTC), Synced: true},
		open: map[garden.LineID]garden.Order{}, ends: map[garden.LineID]time.Duration{}, openAt: map[garden.LineID]garden.Moment{},
	}
	for i := range p.zones {
		b.mean = append(b.mean, float64(p.zones[i].Capacity))
	}
	b.obs.Readings = make([]garden.Reading, len(p.probes))
	b.obs.Today = garden.DayWeather{TMinC: garden.Known(18), TMaxC: garden.Known(32)}
	return b
}

// tick advances the buckets by a minute and runs one Step.
func (b *bench) tick() []garden.Order {
	dt := time.Minute
	b.now = b.now.Add(dt)
	h := solarHour(b.p, b.now)
	for i := range b.p.zones {
		z := &b.p.zones[i]
		mm := 0.0
		if b.st.began {
			mm = b.st.sky.between(h-1.0/60, 1.0/60)
		}
		b.mean[i] -= b.demand * mm * b.st.zones[i].lossPerMM / z.VolumeL
		for id, o := range b.open {
			l := &b.p.lines[b.p.lineIndex(id)]
			_ = o
			if z.line == b.p.lineIndex(id) && !b.silent {
				came := l.FlowLPH * z.share / 60
				if b.parts != nil {
					came *= b.parts[i]
				}
				b.mean[i] += came / z.VolumeL
				b.applied += came
			}
		}
		if over := b.mean[i] - float64(z.Capacity); over > 0 {
			out := over * (1 - math.Exp(-dt.Hours()/1.5))
			b.mean[i] -= out
			b.drained += out * z.VolumeL
		}
		b.mean[i] = max(b.mean[i], 0.05)
	}
	b.obs.Delivered = append(b.obs.Delivered[:0], b.pend...)
	b.pend = b.pend[:0]
	for _, l := range b.p.lines {
		if o, ok := b.open[l.ID]; ok && b.now.Mono >= b.ends[l.ID] {
			b.close(o, garden.Complete)
		}
	}
	b.obs.Delivered = append(b.obs.Delivered, b.pend...)
	b.pend = b.pend[:0]
	for i := range b.p.probes {
		pp := &b.p.probes[i]
		v := b.reading(i)
		if b.lie != nil {
			v = b.lie(i, v)
		}
		b.obs.Readings[i] = garden.Reading{Probe: pp.id, Zone: b.p.zones[pp.zone].ID, At: b.now, Water: garden.WaterFraction(v), Quality: b.quality, Fault: b.fault}
	}
	b.orders = b.p.Step(b.st, b.now, &b.obs, b.orders[:0])
	b.events = append(b.events, b.st.Events()...)
	b.obs.Asks, b.obs.Refused = b.obs.Asks[:0], b.obs.Refused[:0]
	for _, s := range b.st.Stops() {
		if o, ok := b.open[s.Line]; ok {
			b.close(o, garden.Stopped)
		}
	}
	for _, o := range b.orders {
		l := b.p.lines[b.p.lineIndex(o.Line)]
		_, busy := b.open[o.Line]
		require.False(b.t, busy, "two orders open on %s", o.Line)
		b.open[o.Line], b.openAt[o.Line] = o, b.now
		b.ends[o.Line] = b.now.Mono + min(hours(o.Litres/l.FlowLPH), o.MaxOn)
		b.log = append(b.log, o)
	}
	return b.orders
}

// reading is what makes the controller take the zone's mean for what it is. How
// well its picture fits a real pot is for the seasons to say.
func (b *bench) reading(i int) float64 {
	pp := &b.p.probes[i]
	z := &b.p.zones[pp.zone]
	lo, hi := 0.0, float64(z.Porosity)
	for range 50 {
		mid := (lo + hi) / 2
		if pp.judge(z, b.st.zones[pp.zone].root, mid).mid < b.mean[pp.zone] {
			lo = mid
		} else {
			hi = mid
		}
	}
	return hi
}

func (b *bench) close(o garden.Order, end garden.Ending) {
	l := b.p.lines[b.p.lineIndex(o.Line)]
	at := b.openAt[o.Line]
	litres := min(o.Litres, l.FlowLPH*b.now.Since(at).Hours())
	b.pend = append(b.pend, garden.Delivery{
		Order: o.ID, Line: o.Line, Zone: o.Zone, Kind: o.Kind, Litres: litres,
		Open: b.now.Since(at), OpenedAt: at, ClosedAt: b.now, End: end,
	})
	if b.told != nil {
		b.told(&b.pend[len(b.pend)-1])
	}
	b.gave = append(b.gave, b.pend[len(b.pend)-1])
	delete(b.open, o.Line)
}

func (b *bench) run(d time.Duration) {
	for range int(d / time.Minute) {
		b.tick()
	}
}

package main

import (
	"context"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"fabricpot/control/garden"
	"fabricpot/control/medium"
	"fabricpot/sensors"
	"fabricpot/sensors/ads1115"
	"fabricpot/sensors/calibrate"
	"fabricpot/sim/bench"
)

// The bench's container, invented.
const (
	tubVolumeL  = 3.0
	tubHeightCM = 18.0
	tubTareG    = 320.0
	tubDryG     = 450.0
	tubScaleG   = 4.0 // standard deviation of its scale
)

// tub is the container whose probes are read: a real one, or the bench's, which
// also has a scale.
type tub struct {
	where string
	st    *stand
	// probes and their numbers in the garden, in the session's order.
	probes []garden.Probe
	index  []int
	// Of the bench.
	soil  *evenSoil
	clock *bench.Clock
	rng   *rand.Rand
}

// evenSoil is evenly moist mix that does what it is told.
type evenSoil struct {
	now   time.Duration
	water float64
}

func (e *evenSoil) Now() time.Duration           { return e.now }
func (e *evenSoil) Advance(to time.Duration)     { e.now = to }
func (e *evenSoil) SetValve(garden.LineID, bool) {}
func (e *evenSoil) WaterAt(int, float64) float64 { return e.water }
func (e *evenSoil) TempAt(int, float64) float64  { return 20 }

// openTub opens the probes. The bench's container has probes that err against
// the mix's present calibration, so that there is something to find.
func openTub(u *understood, mix *garden.Mix, probes []garden.Probe, seed uint64, p *progress) (*tub, error) {
	t := &tub{probes: slices.Clone(probes), st: &stand{u: u}}
	list := u.garden.ProbeList()
	for _, pr := range probes {
		t.index = append(t.index, slices.IndexFunc(list, func(x garden.Probe) bool { return x.ID == pr.ID }))
	}
	if u.garden.Hardware.Kind != garden.Bench {
		hw := &board{}
		t.where = "the board"
		t.st.open = openInputs(u.garden, hw)
		t.st.closers = append(t.st.closers, hw.Close)
		t.st.readers = map[garden.Input]sensors.VoltReader{}
		return t, nil
	}
	t.where = "the bench: its scale fills in the answers, Enter takes them"
	var inside []garden.Probe
	for i := range t.probes {
		t.probes[i].Input = garden.Input{Addr: 0x48, Channel: i}
		inside = append(inside, garden.Probe{ID: t.probes[i].ID, Zone: "tub", DepthCM: tubHeightCM / 2, Input: t.probes[i].Input})
	}
	g := &garden.Garden{
		Mixes: []garden.Mix{{ID: mix.ID, Calibration: mix.Calibration}},
		Pots: []garden.Pot{{ID: "tub", Mix: mix.ID, VolumeL: tubVolumeL, Shape: tubShape(tubVolumeL, tubHeightCM),
			Zones: []garden.Zone{{ID: "tub", Share: 1, Probes: inside}}}},
	}
	t.soil, t.clock = &evenSoil{water: 0.05}, bench.NewClock(0)
	wires, err := bench.New(g, t.soil, t.clock, bench.Options{Seed: seed, OffsetV: 0.05, Gain: 0.02})
	if err != nil {
		return nil, err
	}
	t.rng = rand.New(rand.NewPCG(seed, 0x7b+uint64(len(p.Rows))))
	dev, err := ads1115.New(wires.Bus(), 0x48, t.clock, ads1115.Opts{})
	if err != nil {
		return nil, err
	}
	t.st.readers = map[garden.Input]sensors.VoltReader{}
	t.st.readers[garden.Input{Addr: 0x48}] = dev
	return t, nil
}

func (t *tub) close() {
	for _, c := range t.st.closers {
		_ = c()
	}
}

func tubShape(volumeL, heightCM float64) garden.Shape {
	d := math.Sqrt(4 * volumeL * 1000 / (math.Pi * heightCM))
	return garden.Shape{HeightCM: heightCM, BottomDiameterCM: d, TopDiameterCM: d}
}

// suggest is what the bench knows of its container; nothing on a board.
func (t *tub) suggest(v float64) string {
	if t.soil == nil {
		return ""
	}
	return fmt.Sprint(v)
}

// next is the bench's next answer: it dries or is poured step by step.
func (t *tub) next(p *progress) string {
	if t.soil == nil {
		return ""
	}
	const steps = 12
	i := float64(p.steps())
	if i >= steps || p.Method == methodPoints && i >= 3 {
		return "done"
	}
	switch p.Method {
	case methodWeight:
		water := 0.58 - 0.50*i/(steps-1)
		return fmt.Sprintf("%.0f", p.Container.TareG+p.Container.DryG+1000*p.Container.VolumeL*water+tubScaleG*t.rng.NormFloat64())
	case methodBucket:
		if i == 0 {
			return "0"
		}
		return fmt.Sprintf("%.0f", 1000*p.Bucket.MixL*0.05)
	}
	return []string{"5", "30", "55"}[int(i)]
}

// becomes makes the bench's container as wet as the answer says it is.
func (t *tub) becomes(p *progress, step []entry) {
	if t.soil == nil {
		return
	}
	with := *p
	with.Rows = append(append([]entry{}, p.Rows...), step...)
	if points, err := with.points(); err == nil {
		// Neither scale nor stirring are perfect.
		t.soil.water = max(0, float64(points[len(points)-1].Water)+0.003*t.rng.NormFloat64())
	}
	t.clock.Sleep(time.Hour)
	t.soil.Advance(t.clock.Now())
}

// readAll fills a step in: all probes or, with the reason, none.
func (t *tub) readAll(ctx context.Context, step []entry) error {
	for i := range step {
		if err := ctx.Err(); err != nil {
			return err
		}
		got, err := t.st.look(t.index[i], t.probes[i])
		if err != nil {
			return fmt.Errorf("probe %s cannot be read: %w", step[i].Probe, err)
		}
		if bad := got.fault(); bad != "" {
			return fmt.Errorf("probe %s, %.3f V: %s", step[i].Probe, float64(got.Volts), bad)
		}
		if t.soil != nil {
			got.TempC = garden.Known(20)
		}
		step[i].Volts, step[i].TempC = got.Volts, got.TempC
	}
	return nil
}

// drainedTub is a small container at its capacity.
type drainedTub struct {
	water             garden.WaterFraction
	volumeL, heightCM float64
}

// show carries the capacity over to the pots of the mix.
func (d *drainedTub) show(w io.Writer, u *understood, mix *garden.Mix) error {
	curve, err := medium.NewCurve(mix.Retention)
	if err != nil {
		return err
	}
	fmt.Fprintf(w, "\nDrained, the container held %.1f %% at %.0f cm. That means for the pots of mix %s:\n", 100*float64(d.water), d.heightCM, mix.ID)
	for i := range u.garden.Pots {
		p := &u.garden.Pots[i]
		if p.Mix != mix.ID {
			continue
		}
		c, err := calibrate.CarryCapacity(d.water, curve, tubShape(d.volumeL, d.heightCM), p.Shape)
		if err != nil {
			fmt.Fprintf(w, "  %s: %v\n", p.ID, err)
			continue
		}
		fmt.Fprintf(w, "  %s, %.0f cm: capacity: %.1f %%   (the mix's curve says %.1f %%)\n", p.ID, p.Shape.HeightCM, 100*float64(c.Capacity), 100*c.Pot)
		if c.Warning != "" {
			fmt.Fprintln(w, "   note:", c.Warning)
		}
	}
	return nil
}

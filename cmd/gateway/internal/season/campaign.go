package season

import (
	"time"

	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/garden"
	"fabricpot/sim/bench"
	"fabricpot/sim/terrace"

	"periph.io/x/conn/v3/gpio"
)

// tricks break the gateway on purpose, to see that the campaign notices. Only
// tests set them.
type tricks struct {
	garden func(*garden.Garden) *garden.Garden // what plan and guard believe
	coil   func(*bench.Pin) gpio.PinOut
	wrap   func(*Options)
	// far breaks the far end of the broker.
	far func(*farEnd)
	// hangs has the guard's goroutine hang with the loop.
	hangs bool
	begun func(*Bench)
	// unlocked has the gateway hold no control socket.
	unlocked bool
	// hasty is what a second gateway does before it asks for the outputs.
	hasty func(*Bench)
	// offered is what the gateway takes a garden file for that it is offered.
	offered func(*garden.Garden) *garden.Garden
}

// Play runs one script on the event clock.
func Play(s Script) (Outcome, error) { return play(s, tricks{}) }

func play(s Script, tr tricks) (Outcome, error) {
	g, err := s.garden()
	if err != nil {
		return Outcome{}, err
	}
	opts := Options{Seed: s.Seed, Start: s.start, Weather: s.weather(), Terrace: terrace.DefaultOptions(s.Seed, nil)}
	opts.Terrace.StartSuctionCM = 10
	opts.Terrace.TankRefillLPH = 0
	caps, err := capsOf(g)
	if err != nil {
		return Outcome{}, err
	}
	w := newWitness(g, caps)
	book := newMemBook(w)
	opts.Journal, opts.History, opts.Tell = book, book, w
	opts.sampler = func(sm runner.Sampler) runner.Sampler { return senseWitness{sm, w} }
	opts.Coil = tr.coil
	if tr.wrap != nil {
		tr.wrap(&opts)
	}
	c := &course{s: &s, w: w, book: book, opts: opts, g: g, tr: tr}
	book.tend(g, s.start)
	w.untrue, w.miscounted, w.unseen = c.untrue, c.miscounted, c.unseen
	w.bench = func() *Bench { return c.b }
	w.unreachable = func() bool { return c.far != nil && (c.far.away || c.far.cut) }
	for i := range s.Pots {
		if s.Pots[i].Remote {
			c.opts.far = c.farOf
		}
	}
	if tr.garden != nil {
		c.g = tr.garden(g)
	}
	if err := c.run(); err != nil {
		return Outcome{}, err
	}
	return c.outcome(), nil
}

// capsOf reckons the lines' caps once more, from a guard of its own that no
// trick reaches.
func capsOf(g *garden.Garden) (map[garden.LineID]float64, error) {
	b, err := NewBench(g, Options{Start: time.Date(2026, 6, 1, 0, 0, 0, 0, g.Site.Zone), Weather: Climate(1, time.Date(2026, 6, 1, 0, 0, 0, 0, g.Site.Zone), 2)})
	if err != nil {
		return nil, err
	}
	out := map[garden.LineID]float64{}
	lines, _ := b.Guard.Snapshot(garden.Moment{})
	for _, l := range lines {
		out[l.Line] = l.CapL
	}
	return out, nil
}

package season

import (
	"slices"
	"time"

	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/alarm"
	"fabricpot/control/feed"
	"fabricpot/control/garden"
	"fabricpot/sim/bench"

	"periph.io/x/conn/v3/gpio"
)

// trickPin is a pin with something between it and the gateway.
type trickPin struct {
	*bench.Pin
	out func(*bench.Pin, gpio.Level) error
}

func (p trickPin) Out(l gpio.Level) error { return p.out(p.Pin, l) }

func trickCoil(out func(*bench.Pin, gpio.Level) error) func(*bench.Pin) gpio.PinOut {
	return func(p *bench.Pin) gpio.PinOut { return trickPin{p, out} }
}

// heldCoil never lets a latching valve's closing coil go while held.
func heldCoil(held *bool) func(*bench.Pin) gpio.PinOut {
	return trickCoil(func(p *bench.Pin, l gpio.Level) error {
		if *held && p.Number() == latchClosePin && p.Energised() && l == gpio.Low {
			return nil
		}
		return p.Out(l)
	})
}

// believer makes every bad reading a good, dry one.
type believer struct{ runner.Sampler }

func (s believer) Sample(now garden.Moment, out []garden.Reading) []garden.Reading {
	out = s.Sampler.Sample(now, out)
	for i := range out {
		if out[i].Quality == garden.Bad {
			out[i].Quality, out[i].Fault, out[i].Water, out[i].At = garden.Good, garden.NoFault, 0.2, now
		}
	}
	return out
}

// doubter takes what one probe says for the word of a broken wire.
type doubter struct{ runner.Sampler }

func (s doubter) Sample(now garden.Moment, out []garden.Reading) []garden.Reading {
	out = s.Sampler.Sample(now, out)
	for i := range out {
		if out[i].Probe == out[0].Probe {
			out[i].Quality, out[i].Fault = garden.Bad, garden.OpenCircuit
		}
	}
	return out
}

// deniedFrom has drivers say from a time on that they did what they could not: the
// guard takes for closed what nobody can close, and gives its room away.
func deniedFrom(from time.Duration, life **Bench) tricks {
	return tricks{begun: func(b *Bench) { *life = b }, coil: trickCoil(func(p *bench.Pin, l gpio.Level) error {
		if err := p.Out(l); err != nil && (*life == nil || (*life).Clock.Now() < from) {
			return err
		}
		return nil
	})}
}

// forgetful says that it keeps intents and does not.
type forgetful struct{ runner.Recorder }

func (forgetful) Intend(garden.Order, float64, garden.Moment) error { return nil }

// looksWhole does not tell that it was begun in place of a broken one.
type looksWhole struct{ *memBook }

func (looksWhole) Broken() (string, error) { return "", nil }

// keepsQuiet tells of no alarm of one kind.
type keepsQuiet struct {
	runner.Teller
	about alarm.Kind
}

func (k keepsQuiet) Alarmed(c alarm.Change) {
	if c.Kind != k.about {
		k.Teller.Alarmed(c)
	}
}

// forgetsOutcomes keeps that nothing was given of what a line gave.
type forgetsOutcomes struct {
	*memBook
	line garden.LineID
}

func (f forgetsOutcomes) Settle(d garden.Delivery) error {
	if d.Line == f.line {
		d.Litres = 0
	}
	return f.memBook.Settle(d)
}

// forgetsFeeds loses what was fed.
type forgetsFeeds struct{ *memBook }

func (f forgetsFeeds) AddFeedSteps(r []feed.Record) error {
	err := f.memBook.AddFeedSteps(r)
	f.fed.Records = nil
	return err
}

// repeats keeps each intent twice.
type repeats struct{ *memBook }

func (r repeats) Intend(o garden.Order, most float64, at garden.Moment) error {
	err := r.memBook.Intend(o, most, at)
	_ = r.memBook.Intend(o, most, at)
	return err
}

// dropsFeeds says that it keeps one kind of a feed's steps and does not.
type dropsFeeds struct {
	*memBook
	what feed.RecordKind
}

func (f dropsFeeds) AddFeedSteps(r []feed.Record) error {
	return f.memBook.AddFeedSteps(slices.DeleteFunc(slices.Clone(r), func(r feed.Record) bool { return r.Kind == f.what }))
}

// halvesFeeds writes half of what is going to be fed, or flushed.
type halvesFeeds struct {
	*memBook
	what feed.RecordKind
}

func (f halvesFeeds) AddFeedSteps(r []feed.Record) error {
	r = slices.Clone(r)
	for i := range r {
		if r[i].Kind == f.what {
			r[i].Litres /= 2
		}
	}
	return f.memBook.AddFeedSteps(r)
}

package bench

import (
	"math/rand/v2"
	"time"

	"fabricpot/control/garden"
)

// leastPulse is the shortest pulse that moves the plunger.
const leastPulse = 20 * time.Millisecond

// Latch is a latching valve: a pulse on one output opens it, a pulse on the other
// closes it, and it stays as it is in between, with or without power. Bench.Pin of
// its line is then the valve as it was last told, not an output.
type Latch struct {
	bench *Bench
	valve *Pin
	pins  [2]*Pin // open, close
	on    [2]bool
	since [2]time.Duration
	rng   *rand.Rand
	// weak is the share of pulses that move nothing.
	weak    float64
	shorted bool
	missed  int
}

// OpenPin and ClosePin are the outputs.
func (l *Latch) OpenPin() *Pin { return l.pins[0] }

// ClosePin is the output whose pulse closes the valve.
func (l *Latch) ClosePin() *Pin { return l.pins[1] }

// Weaken makes that share of pulses too weak to move the plunger, as a worn
// capacitor or a sticking plunger does; 0 ends it. Nobody is told.
func (l *Latch) Weaken(share float64) { l.weak = share }

// Shorted tells whether both outputs were ever on together, Missed how many pulses
// moved nothing.
func (l *Latch) Shorted() bool { return l.shorted }

// Missed is how many pulses moved nothing.
func (l *Latch) Missed() int { return l.missed }

// LatchOf is the latching valve of a line; nil where its valve is another.
func (b *Bench) LatchOf(line garden.LineID) *Latch {
	for _, l := range b.latches {
		if l.valve.line == line {
			return l
		}
	}
	return nil
}

func (b *Bench) newLatch(valve *Pin, v garden.Valve, n int) *Latch {
	l := &Latch{bench: b, valve: valve, rng: rand.New(rand.NewPCG(b.opts.Seed, 0x1a7c_0000+uint64(n)))}
	for i, number := range []int{v.Pin, v.Latch.ClosePin} {
		l.pins[i] = &Pin{bench: b, line: valve.line, number: number, activeLow: v.ActiveLow, latch: l}
	}
	return l
}

// edge is a change of one of the outputs.
func (l *Latch) edge(p *Pin) {
	n, other := 0, 1
	if p == l.pins[1] {
		n, other = 1, 0
	}
	now := l.bench.clk.Now()
	if p.energised {
		l.on[n], l.since[n] = true, now
		l.shorted = l.shorted || l.pins[other].energised
		return
	}
	pulsed := l.on[n] && now-l.since[n] >= leastPulse
	l.on[n] = false
	if !pulsed {
		return // nor does an output that is set low as its program starts
	}
	moves := l.rng.Float64() >= l.weak
	if !moves {
		l.missed++
	}
	l.valve.tell(n == 0, moves)
}

// tell has a valve that pulses switch told to open or close; moves tells whether
// the plunger follows.
func (p *Pin) tell(open, moves bool) {
	p.stays = !moves
	// The valve's own pin has no levels: high stands for open.
	_ = p.Out(open != p.activeLow)
	p.apply()
}

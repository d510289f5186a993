package main

import (
	"fmt"
	"net/rpc"
	"sync"
	"time"

	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/garden"
	"fabricpot/sim/bench"
	"fabricpot/sim/terrace"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/physic"
)

// World is the terrace's side of the socket.
type World struct {
	mu    sync.Mutex
	began time.Time
	boot0 time.Duration // the board's monotonic clock then
	soil  *terrace.Terrace
	wires *bench.Bench
	clk   *bench.Clock

	outs   int             // outputs: of lines, and of the injector
	first  map[string]bool // outputs that a new life has commanded
	lives  int
	opened bool          // a line was energised before all were closed
	took   time.Duration // from the child's first word until all were closed
	hello  time.Time

	// asked for and opened in this life, and asked for in all.
	asked, opens, asks map[garden.LineID]int
	through            map[garden.LineID][]passage
	// intent is the last that a kill left unfinished.
	intent map[garden.LineID]int64
	owes   map[garden.LineID]bool // the last kill left an intent unfinished
	tally  tally
	begun  int // feeds, by the journal
	feed   seenFeed
	wrong  []string // what the lines saw at once
}

func newWorld(outs int) *World {
	n := func() map[garden.LineID]int { return map[garden.LineID]int{} }
	w := &World{clk: bench.NewClock(0), outs: outs, asked: n(), opens: n(), asks: n(),
		through: map[garden.LineID][]passage{}, intent: map[garden.LineID]int64{}, owes: map[garden.LineID]bool{}}
	w.began, w.boot0 = time.Now(), runner.NewBoardClock(time.UTC).Moment().Mono
	return w
}

func (w *World) catchUp() {
	w.clk.RunUntil(time.Since(w.began))
	w.wires.Advance()
}

// Hello is a new life's first word.
func (w *World) Hello(_ struct{}, _ *struct{}) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.first, w.opened, w.hello, w.took = map[string]bool{}, false, time.Now(), 0
	w.lives++
	clear(w.asked)
	clear(w.opens)
	return nil
}

// Asked is told of a wish for a pulse before the gateway is.
func (w *World) Asked(line string, _ *struct{}) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.asked[garden.LineID(line)]++
	w.asks[garden.LineID(line)]++
	return nil
}

// PinCall sets the pin of a line's valve, or of its injector.
type PinCall struct {
	Line string
	Dose bool
	High bool
}

// Out drives a pin.
func (w *World) Out(c PinCall, _ *struct{}) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.catchUp()
	id := garden.LineID(c.Line)
	p, drive := w.wires.Pin(id), w.valve
	if c.Dose {
		p, drive = w.wires.InjectorPin(id), w.dose
	}
	err := drive(id, gpio.Level(c.High))
	if p.Energised() && len(w.first) < w.outs {
		w.opened = true
	}
	w.first[fmt.Sprint(c.Line, c.Dose)] = true
	if len(w.first) == w.outs && w.took == 0 {
		w.took = time.Since(w.hello)
	}
	return err
}

// BusCall is a transaction on the bus.
type BusCall struct {
	Addr uint16
	W    []byte
	N    int
}

// Tx does a transaction.
func (w *World) Tx(c BusCall, r *[]byte) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.catchUp()
	*r = make([]byte, c.N)
	return w.wires.Bus().Tx(c.Addr, c.W, *r)
}

// farPin and farBus are the child's ends.
type farPin struct {
	c    *rpc.Client
	line string
	dose bool
}

func (p farPin) Out(l gpio.Level) error {
	return p.c.Call("World.Out", PinCall{p.line, p.dose, bool(l)}, &struct{}{})
}
func (p farPin) String() string                        { return "far pin " + p.line }
func (p farPin) Name() string                          { return p.line }
func (p farPin) Number() int                           { return -1 }
func (p farPin) Function() string                      { return "Out" }
func (p farPin) Halt() error                           { return nil }
func (p farPin) PWM(gpio.Duty, physic.Frequency) error { return fmt.Errorf("no PWM") }

type farBus struct{ c *rpc.Client }

func (b farBus) String() string                  { return "far bus" }
func (b farBus) SetSpeed(physic.Frequency) error { return nil }
func (b farBus) Tx(addr uint16, w, r []byte) error {
	var got []byte
	if err := b.c.Call("World.Tx", BusCall{addr, w, len(r)}, &got); err != nil {
		return err
	}
	copy(r, got)
	return nil
}

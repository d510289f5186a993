package main

import (
	"errors"
	"fmt"
	"sync"
	"time"

	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/garden"
	"fabricpot/sim/bench"
	"fabricpot/sim/terrace"

	"periph.io/x/conn/v3/gpio"
)

// World is the terrace's side of the socket.
type World struct {
	mu    sync.Mutex
	dir   string // what the gateway keeps, and the socket to the terrace
	began time.Time
	boot0 time.Duration // the board's monotonic clock then
	soil  *terrace.Terrace
	wires *bench.Bench
	clk   *bench.Clock

	outs   map[int]outAt // by their pins' numbers
	levels map[int]gpio.Level
	first  map[int]bool // pins that a new life has commanded
	lives  int
	alive  bool          // what a life says after its end is not done
	opened bool          // a line was energised before all were closed
	took   time.Duration // from the order to start a process until all were closed
	born   time.Time

	snagged map[string]chan struct{} // what hangs, until its channel is closed
	failing int                      // the pin that refuses; 0 for none

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

// outAt is what hangs on a pin: a line's valve, or its injector.
type outAt struct {
	line garden.LineID
	dose bool
}

func newWorld(g *garden.Garden, dir string) *World {
	n := func() map[garden.LineID]int { return map[garden.LineID]int{} }
	w := &World{dir: dir, clk: bench.NewClock(0), outs: map[int]outAt{}, levels: map[int]gpio.Level{}, asked: n(), opens: n(), asks: n(),
		through: map[garden.LineID][]passage{}, intent: map[garden.LineID]int64{}, owes: map[garden.LineID]bool{}}
	for i := range g.Lines {
		l := &g.Lines[i]
		w.outs[l.Valve.Pin] = outAt{line: l.ID}
		if l.Injector.Switched {
			w.outs[l.Injector.Pin] = outAt{l.ID, true}
		}
	}
	w.began, w.boot0 = time.Now(), runner.NewBoardClock(time.UTC).Moment().Mono
	return w
}

func (w *World) catchUp() {
	w.clk.RunUntil(time.Since(w.began))
	w.wires.Advance()
}

// bear begins a new life, just before its process is started.
func (w *World) bear() (life int) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.lives++
	w.alive, w.first, w.opened, w.born, w.took = true, map[int]bool{}, false, time.Now(), 0
	clear(w.asked)
	clear(w.opens)
	return w.lives
}

// ask is told of a wish for a pulse before the gateway is.
func (w *World) ask(line garden.LineID) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.asked[line]++
	w.asks[line]++
}

// errDead is what a process hears that was killed with a call on its way.
var errDead = errors.New("this life is over")

// PinCall sets a pin.
type PinCall struct {
	Life, Pin int
	High      bool
}

// Out drives a pin.
func (w *World) Out(c PinCall, _ *struct{}) error {
	w.pass(fmt.Sprint("pin ", c.Pin))
	w.mu.Lock()
	defer w.mu.Unlock()
	if c.Life != w.lives || !w.alive {
		return errDead
	}
	if c.Pin == w.failing {
		return fmt.Errorf("pin %d refuses", c.Pin)
	}
	w.catchUp()
	at, ok := w.outs[c.Pin]
	if !ok {
		return fmt.Errorf("nothing is on pin %d", c.Pin)
	}
	p, drive := w.wires.Pin(at.line), w.valve
	if at.dose {
		p, drive = w.wires.InjectorPin(at.line), w.dose
	}
	err := drive(at.line, gpio.Level(c.High))
	if p.Energised() && len(w.first) < len(w.outs) {
		w.opened = true
	}
	w.first[c.Pin], w.levels[c.Pin] = true, gpio.Level(c.High)
	if len(w.first) == len(w.outs) && w.took == 0 {
		w.took = time.Since(w.born)
	}
	return err
}

// Level reads a pin back.
func (w *World) Level(pin int, high *bool) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	l, ok := w.levels[pin]
	if *high = bool(l); !ok {
		return fmt.Errorf("pin %d was never driven", pin)
	}
	return nil
}

// Pass holds up a life at a place of that name while the place hangs.
func (w *World) Pass(name string, _ *struct{}) error {
	w.pass(name)
	return nil
}

func (w *World) pass(name string) {
	w.mu.Lock()
	c := w.snagged[name]
	w.mu.Unlock()
	if c != nil {
		<-c
	}
}

// snag has whoever comes to a place of that name hang, until free.
func (w *World) snag(name string) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.snagged = map[string]chan struct{}{name: make(chan struct{})}
}

func (w *World) free() {
	w.mu.Lock()
	defer w.mu.Unlock()
	for _, c := range w.snagged {
		close(c)
	}
	w.snagged, w.failing = nil, 0
}

// BusCall is a transaction on the bus.
type BusCall struct {
	Addr uint16
	W    []byte
	N    int
}

// Tx does a transaction.
func (w *World) Tx(c BusCall, r *[]byte) error {
	w.pass("bus")
	w.mu.Lock()
	defer w.mu.Unlock()
	w.catchUp()
	*r = make([]byte, c.N)
	return w.wires.Bus().Tx(c.Addr, c.W, *r)
}

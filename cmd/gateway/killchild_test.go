package main

import (
	"database/sql/driver"
	"net/rpc"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"

	"fabricpot/control/garden"

	"modernc.org/sqlite"
	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/gpio/gpiotest"
	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"
)

// The gateway that is killed: this binary's whole command line, main and all, with
// pins, bus and calendar in the harness's process.

const (
	killEnv     = "FABRICPOT_KILL_CHILD" // the folder of the harness's socket
	killLifeEnv = "FABRICPOT_KILL_LIFE"
	killWallEnv = "FABRICPOT_KILL_WALL"
	killSnagEnv = "FABRICPOT_KILL_SNAG" // see snagClock
)

// TestMain is main where the harness started this process.
func TestMain(m *testing.M) {
	// For triggers: SQLite's function that never returns.
	sqlite.MustRegisterScalarFunction("hang", 0, func(*sqlite.FunctionContext, []driver.Value) (driver.Value, error) { select {} })
	if dir := os.Getenv(killEnv); dir != "" {
		os.Exit(program(os.Args[1:], openFar(dir)))
	}
	os.Exit(m.Run())
}

// openFar is openLines with the harness's wiring.
func openFar(dir string) opener {
	return func(g *garden.Garden) (*board, error) {
		c, err := rpc.Dial("unix", filepath.Join(dir, "world"))
		if err != nil {
			return nil, err
		}
		life, err := strconv.Atoi(os.Getenv(killLifeEnv))
		if err != nil {
			return nil, err
		}
		// Five seconds, the least that a garden file takes, would make fifty lives long.
		g.SampleEvery = killTick
		return openWired(g, wiring{
			pin: func(_ string, n int, _ string) (outPin, error) { return &farPin{c: c, life: life, n: n}, nil },
			i2c: func(string) (i2c.BusCloser, error) { return farBus{c}, nil },
			clock: func(zone *time.Location) boardClock {
				return snagClock{newLeapClock(os.Getenv(killWallEnv), zone), c, os.Getenv(killSnagEnv)}
			},
		})
	}
}

// snagClock is a clock on which a function hangs that asks for the time: the harness
// says when. It is a way to hold up a part that touches nothing outside.
type snagClock struct {
	leapClock
	c  *rpc.Client
	in string // the end of the function's name; empty for none
}

func (s snagClock) Moment() garden.Moment {
	if s.in != "" {
		at := make([]uintptr, 32)
		frames := runtime.CallersFrames(at[:runtime.Callers(2, at)])
		for f, more := frames.Next(); more; f, more = frames.Next() {
			if strings.HasSuffix(f.Function, s.in) {
				_ = s.c.Call("World.Pass", s.in, &struct{}{})
			}
		}
	}
	return s.leapClock.Moment()
}

// farPin and farBus are the child's ends.
type farPin struct {
	gpiotest.Pin
	c       *rpc.Client
	life, n int
}

func (p *farPin) Out(l gpio.Level) error {
	return p.c.Call("World.Out", PinCall{p.life, p.n, bool(l)}, &struct{}{})
}

func (p *farPin) OutputLevel() (gpio.Level, error) {
	var high bool
	err := p.c.Call("World.Level", p.n, &high)
	return gpio.Level(high), err
}

func (p *farPin) Close() error { return nil }

type farBus struct{ c *rpc.Client }

func (b farBus) String() string                  { return "far bus" }
func (b farBus) SetSpeed(physic.Frequency) error { return nil }
func (b farBus) Close() error                    { return nil }
func (b farBus) Tx(addr uint16, w, r []byte) error {
	var got []byte
	if err := b.c.Call("World.Tx", BusCall{addr, w, len(r)}, &got); err != nil {
		return err
	}
	copy(r, got)
	return nil
}

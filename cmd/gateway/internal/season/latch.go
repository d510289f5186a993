package season

import (
	"time"

	"fabricpot/control/garden"
	"fabricpot/sim/bench"
	"fabricpot/valves"

	"periph.io/x/conn/v3/gpio"
)

// holdUp is how a latching valve's driver waits on the bench: nothing else runs
// meanwhile, since the guard holds its lock.
type holdUp struct{ clock *bench.Clock }

func (h holdUp) Sleep(d time.Duration) { h.clock.Pass(d) }

// wire is the driver of a line's own valve.
func (b *Bench) wire(l *garden.Line, coil func(*bench.Pin) gpio.PinOut) (valves.Actuator, error) {
	if w := b.Wires.LatchOf(l.ID); w != nil {
		return valves.NewLatch(coil(w.OpenPin()), coil(w.ClosePin()), l.Valve.ActiveLow, l.Valve.Latch.Pulse, holdUp{b.Clock})
	}
	return valves.NewCoil(coil(b.Wires.Pin(l.ID)), l.Valve.ActiveLow), nil
}

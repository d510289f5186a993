package season

import (
	"fmt"
	"slices"
	"time"

	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/garden"
	"fabricpot/mqtt"
	"fabricpot/mqtt/topic"
	"fabricpot/mqtt/valve"
	"fabricpot/sim/bench"
	"fabricpot/sim/node"
	"fabricpot/valves"

	"periph.io/x/conn/v3/gpio"
)

const (
	// air is what a message takes from one end to the other.
	air = 200 * time.Millisecond
	// keepalive is how long a node takes to notice that its broker is gone.
	keepalive = 30 * time.Second
	// farLate is how long past a remote line's deadline its node may close: it
	// counts whole seconds from when the command came, and looks once a second.
	farLate = 2*time.Second + 2*air
	// closeAgain is how often a gateway repeats a close that is not confirmed.
	closeAgain = 5 * time.Second
)

// farEnd is the far end of a broker on the event clock: the broker, the nodes,
// which outlive every gateway, and the air between. The nodes are the reference
// firmware, the valves the gateway's own driver.
type farEnd struct {
	clock *bench.Clock
	tree  topic.Tree
	nodes []*farNode
	// away: nobody reaches the broker; cut: the gateway alone does not.
	away, cut bool
	epoch     uint64
	life      *farLife
	lives     int
	// replays has a broker that comes back bring the last command again to a
	// node that forgot it, as none may: a trick of tests.
	replays bool
	// frozen nodes never look at their timer: another.
	frozen bool
	// reached is called when the gateway has a way to the nodes again.
	reached func()
}

// farNode is one valve with its radio.
type farNode struct {
	end        *farEnd
	line       garden.LineID
	set, state string
	n          node.Node
	up         bool
	deaf       bool // hears nothing and goes on talking
	open       bool
	last       []byte // the retained state
	ordered    []byte // the last command
	tick       bench.Event
}

// farLife is the far end as one gateway sees it.
type farLife struct {
	noFar
	end    *farEnd
	clock  func() garden.Moment
	valves map[garden.LineID]*valve.Valve
	gone   bool
}

// newFarEnd returns the far end of a garden's remote lines, nil where it has none.
func newFarEnd(g *garden.Garden, b *Bench) (*farEnd, error) {
	tree, err := topic.NewTree("", g.Site.ID)
	if err != nil {
		return nil, err
	}
	e := &farEnd{clock: b.Clock, tree: tree, epoch: 1}
	for i := range g.Lines {
		l := &g.Lines[i]
		if l.Valve.Kind != garden.RemoteValve {
			continue
		}
		n := &farNode{end: e, line: l.ID, set: tree.Of(topic.ValveSet, l.Valve.Node), state: tree.Of(topic.ValveState, l.Valve.Node), up: true}
		pin := b.Wires.Pin(l.ID)
		n.n = node.Node{Publish: n.publish, Coil: func(open bool) {
			n.open = open
			_ = pin.Out(gpio.Level(open))
		}}
		n.n.Coil(false)
		e.nodes = append(e.nodes, n)
		n.looks()
	}
	if len(e.nodes) == 0 {
		return nil, nil
	}
	return e, nil
}

// looks has the node look at its timer: every second while open.
func (n *farNode) looks() {
	n.end.clock.Cancel(n.tick)
	if n.end.frozen {
		return
	}
	every := 20 * time.Second
	if n.open {
		every = time.Second
	}
	n.tick = n.end.clock.At(n.end.clock.Now()+every, func() {
		n.n.Tick(n.end.clock.Now())
		n.looks()
	})
}

// publish sends the node's state, which the broker keeps.
func (n *farNode) publish(p []byte) {
	if !n.up || n.end.away {
		return
	}
	n.last = p
	n.end.toGateway(mqtt.Message{Topic: n.state, Payload: p, QoS: 1, Retain: false})
}

// toGateway brings a message to the gateway that lives when it was sent.
func (e *farEnd) toGateway(m mqtt.Message) {
	life := e.life
	if life == nil || e.away || e.cut {
		return
	}
	e.clock.At(e.clock.Now()+air, func() {
		if life.gone || e.away || e.cut {
			return
		}
		m.At = life.clock()
		for _, v := range life.valves {
			if v.Filter() == m.Topic {
				_ = v.Take(m)
			}
		}
	})
}

// lose takes the broker away, or with only the gateway's way to it.
func (e *farEnd) lose(onlyGateway bool) {
	if onlyGateway {
		e.cut = true
		return
	}
	e.away = true
	e.clock.At(e.clock.Now()+keepalive, func() {
		for _, n := range e.nodes {
			if e.away && n.up {
				n.up = false
				n.n.LinkLost()
				n.looks()
			}
		}
	})
}

// restore brings the broker, and the way to it, back.
func (e *farEnd) restore() {
	if !e.away && !e.cut {
		return
	}
	e.away, e.cut = false, false
	e.epoch++
	e.reached()
	for _, n := range e.nodes {
		if n.last != nil {
			e.toGateway(mqtt.Message{Topic: n.state, Payload: n.last, QoS: 1, Retain: true})
		}
		if !n.up {
			n.up = true
			n.n.LinkUp(e.clock.Now())
		}
		if e.replays && n.ordered != nil {
			n.n = node.Node{Publish: n.n.Publish, Coil: n.n.Coil}
			n.n.Command(e.clock.Now(), n.ordered)
			n.looks()
		}
	}
}

// begins gives the next gateway its end of the link. clock is that gateway's.
func (e *farEnd) begins(g *garden.Garden, clock func() garden.Moment) (*farLife, error) {
	e.ends()
	e.lives++
	e.epoch++
	f := &farLife{end: e, clock: clock, valves: map[garden.LineID]*valve.Valve{}}
	for i := range g.Lines {
		if l := &g.Lines[i]; l.Valve.Kind == garden.RemoteValve {
			v, err := valve.New(e.tree, l.ID, l.Valve, f, fmt.Sprintf("life%d", e.lives), clock)
			if err != nil {
				return nil, err
			}
			f.valves[l.ID] = v
		}
	}
	e.life = f
	for _, n := range e.nodes {
		if n.last != nil {
			e.toGateway(mqtt.Message{Topic: n.state, Payload: n.last, QoS: 1, Retain: true})
		}
	}
	f.again()
	return f, nil
}

// ends is the end of the gateway that lives.
func (e *farEnd) ends() {
	if e.life != nil {
		e.life.gone = true
		e.life = nil
	}
}

// again repeats closes that are not confirmed.
func (f *farLife) again() {
	if f.gone {
		return
	}
	for _, n := range f.end.nodes {
		f.valves[n.line].Tick()
	}
	f.end.clock.At(f.end.clock.Now()+closeAgain, f.again)
}

// Send brings a command to its node, if there is a way.
func (f *farLife) Send(m mqtt.Message, _ time.Duration) error {
	e := f.end
	if f.gone || e.away || e.cut {
		return mqtt.ErrOffline
	}
	e.clock.At(e.clock.Now()+air, func() {
		for _, n := range e.nodes {
			if n.set == m.Topic && n.up && !n.deaf && !e.away {
				was := n.open
				n.n.Command(e.clock.Now(), m.Payload)
				if n.open && !was {
					n.ordered = slices.Clone(m.Payload)
				}
				n.looks()
			}
		}
	})
	return nil
}

// Epoch tells the connection.
func (f *farLife) Epoch() (uint64, bool) { return f.end.epoch, !f.gone && !f.end.away && !f.end.cut }

// Valve is a remote line's valve.
func (f *farLife) Valve(id garden.LineID) valves.Actuator {
	if v := f.valves[id]; v != nil {
		return v
	}
	return valves.Unassigned{}
}

// Worries are what the real far end would tell.
func (f *farLife) Worries() []runner.Worry {
	troubles := map[garden.LineID]valve.Trouble{}
	for id, v := range f.valves {
		if t := v.Trouble(); t != valve.NoTrouble {
			troubles[id] = t
		}
	}
	_, up := f.Epoch()
	return runner.FarWorries(up, "", troubles)
}

var (
	_ runner.Far   = (*farLife)(nil)
	_ valve.Sender = (*farLife)(nil)
)

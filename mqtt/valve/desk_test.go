package valve

import (
	"encoding/json"
	"time"

	"github.com/stretchr/testify/require"

	"fabricpot/control/garden"
	"fabricpot/mqtt"
	"fabricpot/mqtt/topic"
	"fabricpot/valves"
)

// desk is a guard with one remote valve, a clock that is set by hand, and a
// line that carries what the test lets through.
type desk struct {
	v     *Valve
	g     *valves.Guard
	now   time.Duration
	up    bool
	epoch uint64
	sent  []mqtt.Message
	n     uint64
}

func (d *desk) Epoch() (uint64, bool) { return d.epoch, d.up }

func (d *desk) Send(m mqtt.Message, _ time.Duration) error {
	if !d.up {
		return mqtt.ErrOffline
	}
	d.sent = append(d.sent, m)
	return nil
}

func (d *desk) moment() garden.Moment {
	return garden.Moment{Mono: d.now, Wall: time.Date(2026, 7, 1, 12, 0, 0, 0, time.UTC).Add(d.now), Synced: true}
}

func (d *desk) last() command {
	var c command
	_ = json.Unmarshal(d.sent[len(d.sent)-1].Payload, &c)
	return c
}

func (d *desk) say(text string) {
	_ = d.v.Take(mqtt.Message{Topic: d.v.state, Payload: []byte(text), At: d.moment()})
}

func (d *desk) link(up bool) { d.up = up; d.epoch++ }

// open asks the guard for an opening of that many seconds.
func (d *desk) open(t require.TestingT, seconds float64) {
	d.n++
	r, ok := d.g.Request(d.moment(), valves.Env{}, garden.Order{ID: garden.OrderID(d.n), Line: "l", Zone: "z", Litres: seconds / 3600 * 10, MaxOn: time.Duration(seconds * float64(time.Second)), Kind: garden.ByHand})
	require.True(t, ok, "refused: %v", r)
}

func (d *desk) step(dt time.Duration) {
	d.now += dt
	d.g.Advance(d.moment())
	d.v.Tick()
}

type ledger struct{}

func (ledger) Intend(garden.Order, float64, garden.Moment) error { return nil }
func (ledger) Raise(garden.OrderID, float64) error               { return nil }
func (ledger) Settle(garden.Delivery) error                      { return nil }

func testGarden() *garden.Garden {
	g := &garden.Garden{
		Pots:   []garden.Pot{{ID: "p", VolumeL: 50, Zones: []garden.Zone{{ID: "z", Share: 1, Line: "l"}}}},
		Lines:  []garden.Line{{ID: "l", Valve: garden.Valve{Kind: garden.RemoteValve, Node: "tap"}, Outlets: []garden.Outlet{{Zone: "z", Emitters: 5, FlowLPH: 2}}, DU: 0.9, DailyCapL: garden.Known(1000)}},
		Supply: garden.Supply{FlowLPH: 100}, Limits: garden.DefaultLimits(),
	}
	g.Limits.MinRest = 0
	g.Site.Zone = time.UTC
	return g
}

func newDesk(t require.TestingT, plain *garden.PlainValve) *desk {
	d := &desk{now: time.Hour, up: true, epoch: 1}
	tr, err := topic.NewTree("", "roof")
	require.NoError(t, err)
	g := testGarden()
	g.Lines[0].Valve.Plain = plain
	d.v, err = New(tr, "l", g.Lines[0].Valve, d, "run", d.moment)
	require.NoError(t, err)
	d.g, err = valves.NewGuard(g, map[garden.LineID]valves.Actuator{"l": d.v}, ledger{}, valves.Options{})
	require.NoError(t, err)
	d.g.CloseAll(d.moment())
	return d
}

// ready confirms the first close.
func ready(t require.TestingT, d *desk) {
	d.say(`{"state":"closed","ack":"` + d.last().ID + `","seq":1}`)
	d.step(10 * time.Millisecond)
	closed, known := d.v.Closed()
	require.True(t, closed && known)
}

package valve_test

import (
	"context"
	"fmt"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/control/garden"
	"fabricpot/mqtt"
	"fabricpot/mqtt/internal/rig"
	"fabricpot/mqtt/topic"
	"fabricpot/mqtt/valve"
	"fabricpot/sim/node"
	"fabricpot/valves"
)

// board is the reference node on a real connection, as a firmware would have it.
type board struct {
	mu    sync.Mutex
	n     *node.Node
	c     paho.Client
	open  bool
	times int
	start time.Time
}

func newBoard(t testing.TB, addr string) *board {
	b := &board{start: time.Now()}
	const base = "fabricpot/roof/valve/tap"
	b.n = &node.Node{
		Coil: func(o bool) {
			if o && !b.open {
				b.times++
			}
			b.open = o
		},
		Publish: func(p []byte) { b.c.Publish(base+"/state", 1, true, p) },
	}
	o := paho.NewClientOptions().AddBroker("tcp://" + addr).SetClientID("tap").SetProtocolVersion(4).SetCleanSession(true).
		SetConnectRetry(true).SetConnectRetryInterval(50 * time.Millisecond).SetMaxReconnectInterval(100 * time.Millisecond).SetKeepAlive(time.Second)
	o.SetWill(base+"/state", `{"state":"lost"}`, 1, true)
	o.SetConnectionLostHandler(func(paho.Client, error) { b.do(func() { b.n.LinkLost() }) })
	o.SetOnConnectHandler(func(c paho.Client) {
		c.Subscribe(base+"/set", 0, func(_ paho.Client, m paho.Message) {
			if !m.Retained() {
				b.do(func() { b.n.Command(time.Since(b.start), m.Payload()) })
			}
		}).WaitTimeout(time.Second)
		b.do(func() { b.n.LinkUp(time.Since(b.start)) })
	})
	b.c = paho.NewClient(o)
	b.c.Connect()
	stop := make(chan struct{})
	go func() {
		for {
			select {
			case <-stop:
				return
			case <-time.After(50 * time.Millisecond):
				b.do(func() { b.n.Tick(time.Since(b.start)) })
			}
		}
	}()
	t.Cleanup(func() { close(stop); b.c.Disconnect(50) })
	return b
}

func (b *board) do(f func()) { b.mu.Lock(); defer b.mu.Unlock(); f() }

func (b *board) state() (open bool, times int) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.open, b.times
}

type memory struct{}

func (memory) Intend(garden.Order, float64, garden.Moment) error { return nil }
func (memory) Raise(garden.OrderID, float64) error               { return nil }
func (memory) Settle(garden.Delivery) error                      { return nil }

func TestWateringOverABroker(t *testing.T) {
	rig.Each(t, func(t *testing.T, s rig.Server) {
		g := &garden.Garden{
			Pots:   []garden.Pot{{ID: "p", VolumeL: 50, Zones: []garden.Zone{{ID: "z", Share: 1, Line: "l"}}}},
			Lines:  []garden.Line{{ID: "l", Valve: garden.Valve{Kind: garden.RemoteValve, Node: "tap"}, Outlets: []garden.Outlet{{Zone: "z", Emitters: 5, FlowLPH: 2}}, DU: 0.9, DailyCapL: garden.Known(1000)}},
			Supply: garden.Supply{FlowLPH: 100}, Limits: garden.DefaultLimits(),
		}
		g.Limits.MinRest, g.Site.Zone = 0, time.UTC
		start := time.Now()
		clock := func() garden.Moment {
			return garden.Moment{Mono: time.Hour + time.Since(start), Wall: time.Now(), Synced: true}
		}
		b := newBoard(t, s.Addr())
		tr, err := topic.NewTree("", "roof")
		require.NoError(t, err)
		o := rig.Quick(s.Addr(), "gateway")
		o.Clock = clock
		l, err := mqtt.New(o)
		require.NoError(t, err)
		v, err := valve.New(tr, "l", g.Lines[0].Valve, l, "run", clock)
		require.NoError(t, err)
		set := valve.NewSet(v)
		boxes, err := set.Subscribe(l)
		require.NoError(t, err)
		ctx, cancel := context.WithCancel(context.Background())
		t.Cleanup(cancel)
		for _, in := range boxes {
			go set.Run(ctx, in)
		}
		go set.Keep(ctx)
		l.Start(ctx)
		t.Cleanup(func() { l.Close(time.Second) })
		guard, err := valves.NewGuard(g, map[garden.LineID]valves.Actuator{"l": v}, memory{}, valves.Options{})
		require.NoError(t, err)
		guard.CloseAll(clock())
		var ended []garden.Delivery
		until := func(what string, ok func() bool) {
			t.Helper()
			require.Eventually(t, func() bool { ended = append(ended, guard.Advance(clock())...); return ok() }, 12*time.Second, 10*time.Millisecond, what)
		}
		confirmed := func() bool { c, k := v.Closed(); return c && k }
		until("closed first of all", confirmed)
		order := func(id int, seconds float64) {
			until("request", func() bool {
				_, ok := guard.Request(clock(), valves.Env{}, garden.Order{ID: garden.OrderID(id), Line: "l", Zone: "z", Litres: seconds * 10 / 3600, MaxOn: 30 * time.Second, Kind: garden.ByHand})
				return ok
			})
			until("the node opens", func() bool { open, _ := b.state(); c, k := v.Closed(); return open && k && !c })
		}

		order(1, 1.5)
		until("delivered", func() bool { return len(ended) == 1 })
		assert.Equal(t, garden.Complete, ended[0].End)
		open, _ := b.state()
		assert.False(t, open)
		assert.Empty(t, set.Troubles())

		// The broker dies in mid-watering: the node closes by itself, the
		// gateway knows nothing, and when the broker is back closes again
		// before anything else.
		order(2, 20)
		s.Kill(t)
		until("the node closes when it hears nobody", func() bool { open, _ := b.state(); return !open })
		until("the gateway says that it knows nothing", func() bool { _, k := v.Closed(); return !k && set.Troubles()["l"] == valve.Offline })
		guard.Stop(clock(), "l")
		assert.Error(t, v.Close())
		s.Start(t)
		until("confirmed closed again", confirmed)
		until("booked", func() bool { return len(ended) == 2 })
		assert.Equal(t, garden.Faulted, ended[1].End)
		time.Sleep(300 * time.Millisecond)
		open, times := b.state()
		assert.False(t, open)
		assert.Equal(t, 2, times, "no order came twice")
		until("nothing wrong", func() bool { return len(set.Troubles()) == 0 })
	})
}

// TestTheLastWordHolds: two words of a node that arrive together are believed in
// the order it said them. In the other order a valve that opened by itself would
// be called closed, and one whose node has gone would seem to obey.
func TestTheLastWordHolds(t *testing.T) {
	rig.Each(t, func(t *testing.T, s rig.Server) {
		var later atomic.Int64
		clock := func() garden.Moment { return garden.Moment{Mono: time.Hour + time.Duration(later.Load())} }
		tr, err := topic.NewTree("", "roof")
		require.NoError(t, err)
		o := rig.Quick(s.Addr(), "last-word")
		o.Clock, o.KeepAlive = clock, 30*time.Second
		l, err := mqtt.New(o)
		require.NoError(t, err)
		v, err := valve.New(tr, "l", garden.Valve{Kind: garden.RemoteValve, Node: "tap"}, l, "run", clock)
		require.NoError(t, err)
		in, err := l.Subscribe(v.Filter(), 1, 32)
		require.NoError(t, err)
		l.Start(context.Background())
		t.Cleanup(func() { l.Close(time.Second) })
		rig.Up(t, l)
		out := rig.Outsider(t, s.Addr(), "last-word-tap")
		// says has the words arrive in one burst and be taken as they come.
		says := func(words ...string) {
			for _, w := range words {
				out.Publish(v.Filter(), 1, false, w)
			}
			for range words {
				require.NoError(t, v.Take(rig.Next(t, in.C(), "a word of the node")))
			}
		}
		for n := range 30 {
			later.Add(int64(2 * time.Second))
			require.NoError(t, v.Close())
			closed, open := fmt.Sprintf(`{"state":"closed","ack":"run-%d"}`, 2*n+1), fmt.Sprintf(`{"state":"open","ack":"run-%d"}`, 2*n+1)
			says(closed)
			isClosed, known := v.Closed()
			require.True(t, isClosed && known)
			require.Equal(t, valve.NoTrouble, v.Trouble())

			says(closed, open)
			_, known = v.Closed()
			require.False(t, known, "it opened by itself")
			require.Equal(t, valve.OpenUnasked, v.Trouble())

			later.Add(int64(2 * time.Second))
			require.NoError(t, v.Close())
			closed = fmt.Sprintf(`{"state":"closed","ack":"run-%d"}`, 2*n+2)
			says(closed, `{"state":"lost"}`)
			_, known = v.Closed()
			require.False(t, known, "it can't be heard")
			require.Equal(t, valve.Lost, v.Trouble())
		}
	})
}

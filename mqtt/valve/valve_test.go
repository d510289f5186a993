package valve

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fabricpot/control/garden"
	"fabricpot/mqtt"
	"fabricpot/mqtt/internal/contract"
	"fabricpot/mqtt/topic"
	"fabricpot/sim/node"
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

func TestBothEndsKeepTheContract(t *testing.T) {
	d := newDesk(t, nil)
	n := node.Node{Coil: func(bool) {}, Publish: func(b []byte) { contract.Fits(t, "valve-state", string(b)); d.say(string(b)) }}
	contract.Fits(t, "valve-set", string(d.sent[0].Payload))
	n.Command(d.now, d.sent[0].Payload)
	d.step(10 * time.Millisecond)
	d.open(t, 60)
	contract.Fits(t, "valve-set", string(d.sent[1].Payload))
	n.Command(d.now, d.sent[1].Payload)
	closed, known := d.v.Closed()
	assert.True(t, known)
	assert.False(t, closed)
	n.Tick(d.now + time.Minute)
	contract.Fits(t, "valve-state", `{"state":"lost"}`)
	assert.Error(t, contract.Judge(t, "valve-set", `{"id":"a","do":"open","order":"1"}`), "an opening without a time is none")
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

func TestAnOpeningCarriesItsLimitAndIdentity(t *testing.T) {
	d := newDesk(t, nil)
	ready(t, d)
	d.open(t, 90.7)
	c := d.last()
	assert.Equal(t, command{ID: c.ID, Do: "open", Order: "1", Seconds: c.Seconds, NotAfter: d.moment().Wall.Unix() + 10}, c)
	assert.LessOrEqual(t, c.Seconds, int64(90))
	assert.Positive(t, c.Seconds)
	m := d.sent[len(d.sent)-1]
	assert.Equal(t, "fabricpot/roof/valve/tap/set", m.Topic)
	assert.Zero(t, m.QoS, "a broker may not keep an order to open")
	assert.False(t, m.Retain)
	_, known := d.v.Closed()
	assert.False(t, known, "told, not confirmed")
	d.say(`{"state":"open","ack":"` + c.ID + `","order":"1","seq":2}`)
	closed, known := d.v.Closed()
	assert.True(t, known)
	assert.False(t, closed)
	assert.Equal(t, NoTrouble, d.v.Trouble())
}

func TestOnlyTheAnswerToTheLastCommandProvesIt(t *testing.T) {
	d := newDesk(t, nil)
	first := d.last().ID
	for name, m := range map[string]mqtt.Message{
		"retained":         {Payload: []byte(`{"state":"closed","ack":"` + first + `"}`), Retain: true},
		"of another run":   {Payload: []byte(`{"state":"closed","ack":"other-1"}`)},
		"without an id":    {Payload: []byte(`{"state":"closed"}`)},
		"not understood":   {Payload: []byte(`closed`)},
		"on another topic": {Topic: "x", Payload: []byte(`{"state":"closed","ack":"` + first + `"}`)},
	} {
		if m.Topic == "" {
			m.Topic = d.v.state
		}
		m.At = d.moment()
		_ = d.v.Take(m)
		_, known := d.v.Closed()
		assert.False(t, known, name)
	}
	ready(t, d)
	d.open(t, 60)
	d.say(`{"state":"closed","ack":"` + first + `","seq":2}`) // said before it heard
	assert.Equal(t, NoTrouble, d.v.Trouble())
	d.say(`{"state":"open","ack":"` + d.last().ID + `","order":"1","seq":3}`)
	_, known := d.v.Closed()
	assert.True(t, known)
}

func TestCloseIsRepeatedUntilConfirmed(t *testing.T) {
	d := newDesk(t, nil)
	ready(t, d)
	d.open(t, 60)
	d.say(`{"state":"open","ack":"` + d.last().ID + `","order":"1","seq":2}`)
	before := len(d.sent)
	for range 120 {
		d.step(time.Second) // the opening ends after 60 s, and nobody answers
	}
	closes := d.sent[before:]
	assert.Greater(t, len(closes), 40)
	assert.LessOrEqual(t, len(closes), 62, "once a second, not more")
	for _, m := range closes {
		assert.Equal(t, byte(1), m.QoS)
	}
	assert.Equal(t, NotClosing, d.v.Trouble())
	d.say(`{"state":"closed","ack":"` + d.last().ID + `","seq":3}`)
	assert.Equal(t, NoTrouble, d.v.Trouble())
	n := len(d.sent)
	for range 30 {
		d.step(time.Second)
	}
	// The guard may have one more repetition due before it looks.
	assert.LessOrEqual(t, len(d.sent), n+1, "and no longer")
}

// TestASlowAnswerIsAnAnswer: where an answer takes longer than the pause between
// two commands, each comes when another close is under way already. It proves the
// close all the same; one to a command from before the valve was open does not.
func TestASlowAnswerIsAnAnswer(t *testing.T) {
	d := newDesk(t, nil)
	before := d.last().ID
	ready(t, d)
	d.open(t, 60)
	d.say(`{"state":"open","ack":"` + d.last().ID + `","order":"1","seq":2}`)
	opening := d.last().ID
	d.step(61 * time.Second)
	asked := d.last().ID
	d.step(1500 * time.Millisecond)
	require.NotEqual(t, asked, d.last().ID, "asked again meanwhile")
	for name, ack := range map[string]string{
		"before the opening": before, "the opening": opening, "another run's": "x" + asked, "of no number": "run-", "written otherwise": "run-0" + asked[len("run-"):],
		"not yet sent": "run-99",
	} {
		d.say(`{"state":"closed","ack":"` + ack + `"}`)
		_, known := d.v.Closed()
		assert.False(t, known, name)
	}
	d.say(`{"state":"closed","ack":"` + asked + `","seq":3}`)
	closed, known := d.v.Closed()
	assert.True(t, closed && known)
	assert.Equal(t, NoTrouble, d.v.Trouble())

	// Heard open again: what it answered before says nothing any more.
	d.say(`{"state":"open","ack":"` + asked + `"}`)
	d.say(`{"state":"closed","ack":"` + asked + `"}`)
	_, known = d.v.Closed()
	assert.False(t, known)
	d.step(2 * time.Second)
	d.say(`{"state":"closed","ack":"` + d.last().ID + `","seq":4}`)
	closed, known = d.v.Closed()
	assert.True(t, closed && known)

	// And over a connection that is gone.
	d.link(false)
	d.link(true)
	d.say(`{"state":"closed","ack":"` + d.last().ID + `"}`)
	_, known = d.v.Closed()
	assert.False(t, known)
}

func TestTroubles(t *testing.T) {
	opened := func(t *testing.T) *desk {
		d := newDesk(t, nil)
		ready(t, d)
		d.open(t, 60)
		return d
	}
	t.Run("does not answer", func(t *testing.T) {
		d := opened(t)
		d.step(10 * time.Second)
		assert.Equal(t, NoTrouble, d.v.Trouble())
		d.step(time.Second)
		assert.Equal(t, NoAnswer, d.v.Trouble())
	})
	t.Run("closed early", func(t *testing.T) {
		d := opened(t)
		id := d.last().ID
		d.say(`{"state":"open","ack":"` + id + `","order":"1","seq":2}`)
		d.step(5 * time.Second)
		d.say(`{"state":"closed","ack":"` + id + `","order":"1","seq":3}`)
		assert.Equal(t, ClosedEarly, d.v.Trouble())
		closed, known := d.v.Closed()
		assert.True(t, closed && known)
	})
	t.Run("open for somebody else", func(t *testing.T) {
		d := opened(t)
		d.say(`{"state":"open","ack":"` + d.last().ID + `","order":"7","seq":2}`)
		assert.Equal(t, WrongOrder, d.v.Trouble())
		_, known := d.v.Closed()
		assert.False(t, known)
	})
	t.Run("open unasked is closed again", func(t *testing.T) {
		d := newDesk(t, nil)
		ready(t, d)
		n := len(d.sent)
		d.say(`{"state":"open","ack":"` + d.last().ID + `","seq":2}`)
		assert.Equal(t, OpenUnasked, d.v.Trouble())
		_, known := d.v.Closed()
		assert.False(t, known)
		d.step(2 * time.Second)
		require.Greater(t, len(d.sent), n)
		assert.Equal(t, "close", d.last().Do)
		d.say(`{"state":"closed","ack":"` + d.last().ID + `","seq":3}`)
		assert.Equal(t, NoTrouble, d.v.Trouble())
	})
	t.Run("an old word that says open is heeded, one that says closed is not", func(t *testing.T) {
		d := opened(t)
		id := d.last().ID
		d.say(`{"state":"open","ack":"` + id + `","order":"1","seq":9}`)
		d.say(`{"state":"closed","ack":"` + id + `","seq":8}`)
		closed, _ := d.v.Closed()
		assert.False(t, closed)
	})
	t.Run("lost and silent", func(t *testing.T) {
		d := newDesk(t, nil)
		ready(t, d)
		d.say(`{"state":"lost"}`)
		assert.Equal(t, Lost, d.v.Trouble())
		d.step(2 * time.Second)
		d.say(`{"state":"closed","ack":"` + d.last().ID + `","seq":1}`)
		assert.Equal(t, NoTrouble, d.v.Trouble(), "back, and it answered the repeated close")
		d.now += silentAfter + time.Second
		assert.Equal(t, Silent, d.v.Trouble())
		_, known := d.v.Closed()
		assert.False(t, known)
		d.step(0)
		d.say(`{"state":"closed","ack":"` + d.last().ID + `","seq":1}`)
		assert.Equal(t, NoTrouble, d.v.Trouble(), "a restarted node counts anew")
	})
	t.Run("unreadable", func(t *testing.T) {
		d := newDesk(t, nil)
		ready(t, d)
		d.say(`{"state":1}`)
		assert.Equal(t, Unreadable, d.v.Trouble())
	})
	for x := NoTrouble + 1; x <= Unreadable; x++ {
		assert.NotEmpty(t, x.String())
	}
}

func TestLinkLost(t *testing.T) {
	d := newDesk(t, nil)
	ready(t, d)
	d.link(false)
	_, known := d.v.Closed()
	assert.False(t, known, "nothing is known over a link that is gone")
	assert.Equal(t, Offline, d.v.Trouble())
	assert.ErrorIs(t, d.v.Close(), mqtt.ErrOffline)
	n := len(d.sent)
	d.step(time.Second)
	d.link(true)
	d.step(time.Second)
	require.Len(t, d.sent, n+1, "closed again first")
	assert.Equal(t, "close", d.last().Do)
	d.say(`{"state":"closed","ack":"` + d.last().ID + `"}`)
	closed, known := d.v.Closed()
	assert.True(t, closed && known)
}

func TestOpenNeedsAGrant(t *testing.T) {
	d := newDesk(t, nil)
	assert.ErrorIs(t, d.v.Open(valves.Grant{}), valves.ErrNoGrant)
}

func TestPlainDevice(t *testing.T) {
	p := &garden.PlainValve{Set: "relay/cmd", State: "relay/stat", On: "ON", Off: "OFF", OwnLimit: time.Hour}
	d := newDesk(t, p)
	assert.Equal(t, "OFF", string(d.sent[0].Payload))
	say := func(s string) {
		d.now += time.Millisecond
		d.say(s)
	}
	_ = d.v.Take(mqtt.Message{Topic: "relay/stat", Payload: []byte("OFF"), Retain: true, At: d.moment()})
	_, known := d.v.Closed()
	assert.False(t, known, "a retained word is old")
	say("OFF")
	d.step(time.Millisecond)
	closed, known := d.v.Closed()
	require.True(t, closed && known)
	d.open(t, 60)
	assert.Equal(t, "ON", string(d.sent[len(d.sent)-1].Payload))
	say("ON")
	_, known = d.v.Closed()
	assert.True(t, known)
	d.step(61 * time.Second)
	assert.Equal(t, "OFF", string(d.sent[len(d.sent)-1].Payload))
	say("ON")
	assert.Equal(t, OpenUnasked, d.v.Trouble())
	say("OFF")
	_, known = d.v.Closed()
	assert.False(t, known, "after it was heard open, only the answer to a fresh command counts")
	d.step(2 * time.Second)
	say("OFF")
	closed, known = d.v.Closed()
	assert.True(t, closed && known)
	say("on?")
	assert.Equal(t, Unreadable, d.v.Trouble())

	tr, _ := topic.NewTree("", "roof")
	for name, bad := range map[string]garden.PlainValve{
		"no limit of its own": {Set: "a", State: "b", On: "ON", Off: "OFF"},
		"one word":            {Set: "a", State: "b", On: "ON", Off: "ON", OwnLimit: 1},
		"no state":            {Set: "a", On: "ON", Off: "OFF", OwnLimit: 1},
		"wildcard":            {Set: "a/#", State: "b", On: "ON", Off: "OFF", OwnLimit: 1},
		"one topic":           {Set: "a", State: "a", On: "ON", Off: "OFF", OwnLimit: 1},
	} {
		_, err := New(tr, "l", garden.Valve{Kind: garden.RemoteValve, Plain: &bad}, d, "r", d.moment)
		assert.Error(t, err, name)
	}
	_, err := New(tr, "l", garden.Valve{Kind: garden.PinValve}, d, "r", d.moment)
	assert.Error(t, err)
	_, err = New(tr, "l", garden.Valve{Kind: garden.RemoteValve, Node: "a/b"}, d, "r", d.moment)
	assert.Error(t, err)
}

func TestPlainJSONState(t *testing.T) {
	p := &garden.PlainValve{Set: "c", State: "s", On: "ON", Off: "OFF", StatePath: "/state/0", OwnLimit: time.Hour}
	for doc, want := range map[string]string{`{"state":["ON"]}`: "open", `{"state":["OFF"]}`: "closed", `{"state":["on"]}`: "", `{"state":[true]}`: "", `{"state":"ON"}`: "", `ON`: "", `{"state":["ON"]`: ""} {
		h, err := decodePlain([]byte(doc), p)
		if want == "" {
			assert.Error(t, err, doc)
			continue
		}
		require.NoError(t, err, doc)
		assert.Equal(t, want == "open", h.open, doc)
	}
}

// TestKnownClosedIsClosed drives the reference node over a line that delays,
// drops and reorders its words, cuts connections and restarts the node, and
// checks the one thing that matters: where the gateway knows a valve to be
// closed, it is closed; and never is one open longer than it was told, or twice
// for one order.
func TestKnownClosedIsClosed(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := newDesk(t, nil)
		coil, opened, openings := false, time.Duration(0), map[string]int{}
		var words [][]byte
		var n *node.Node
		boot := func() {
			n = &node.Node{Coil: func(o bool) {
				if o && !coil {
					opened = d.now
				}
				coil = o
			}, Publish: func(b []byte) { words = append(words, b) }}
			n.Coil(false)
		}
		boot()
		taken := 0
		obey := func() {
			for ; taken < len(d.sent); taken++ {
				was := coil
				n.Command(d.now, d.sent[taken].Payload)
				var c command
				_ = json.Unmarshal(d.sent[taken].Payload, &c)
				if coil && !was {
					openings[c.Order]++
				}
			}
		}
		hear := func(i int) {
			_ = d.v.Take(mqtt.Message{Topic: d.v.state, Payload: words[i], At: d.moment()})
			words = append(words[:i], words[i+1:]...)
		}
		check := func() {
			if closed, known := d.v.Closed(); closed && known && coil {
				t.Fatalf("said to be closed and known, and the coil is energised")
			}
			if coil && d.now-opened > 61*time.Second {
				t.Fatalf("open for %v", d.now-opened)
			}
			for o, k := range openings {
				if k > 1 {
					t.Fatalf("order %s opened %d times", o, k)
				}
			}
		}
		for range rapid.IntRange(5, 60).Draw(t, "steps") {
			switch rapid.IntRange(0, 9).Draw(t, "event") {
			case 0, 1:
				obey()
			case 2, 3:
				if len(words) > 0 {
					hear(rapid.IntRange(0, len(words)-1).Draw(t, "which"))
				}
			case 4:
				if len(words) > 0 {
					words = words[1:]
				}
			case 5:
				d.step(time.Duration(rapid.IntRange(1, 40).Draw(t, "seconds")) * time.Second)
				n.Tick(d.now)
			case 6:
				d.n++
				d.g.Request(d.moment(), valves.Env{}, garden.Order{ID: garden.OrderID(d.n), Line: "l", Zone: "z", Litres: 0.1, MaxOn: 60 * time.Second, Kind: garden.ByHand})
			case 7: // the link is cut; commands under way are gone
				taken = len(d.sent)
				n.LinkLost()
				words = nil
				d.link(false)
				d.link(true)
				n.LinkUp(d.now)
			case 8:
				// A node that reboots closes; what it had not read is gone.
				taken = len(d.sent)
				boot()
				n.LinkUp(d.now)
			case 9:
				d.g.Stop(d.moment(), "l")
			}
			check()
		}
	})
}

func FuzzState(f *testing.F) {
	f.Add([]byte(`{"state":"open","ack":"run-1","order":"1","left_s":3,"seq":2}`))
	f.Add([]byte(`{"state":"closed","seq":18446744073709551615}`))
	f.Add([]byte("ON"))
	f.Add([]byte(`{"a":"ON"}`))
	p := &garden.PlainValve{On: "ON", Off: "OFF", StatePath: "/a"}
	f.Fuzz(func(t *testing.T, b []byte) {
		_, _ = decodeState(b)
		_, _ = decodePlain(b, p)
		_, _ = decodePlain(b, &garden.PlainValve{On: "ON", Off: "OFF"})
		d := newDesk(t, nil)
		d.say(string(b))
		if _, known := d.v.Closed(); known {
			var s wireState
			if json.Unmarshal(b, &s) != nil || s.Ack != d.v.id {
				t.Fatalf("confirmed by %q", b)
			}
		}
		coil := false
		n := node.Node{Coil: func(o bool) { coil = o }, Publish: func([]byte) {}}
		n.Command(0, b)
		n.Tick(25 * time.Hour)
		if coil {
			t.Fatalf("open for ever after %q", b)
		}
	})
}

// TestTooLittleForACommand: what takes less than a second is refused for that, and is
// no fault of the valve.
func TestTooLittleForACommand(t *testing.T) {
	d := newDesk(t, nil)
	ready(t, d)
	sent := len(d.sent)
	for id, c := range []struct {
		litres float64
		maxOn  time.Duration
	}{{1, 999 * time.Millisecond}, {0.002, time.Hour}} { // 2 mL are 0.72 s at 10 L/h
		ref, ok := d.g.Request(d.moment(), valves.Env{}, garden.Order{ID: garden.OrderID(100 + id), Line: "l", Zone: "z", Litres: c.litres, MaxOn: c.maxOn, Kind: garden.ByHand})
		assert.False(t, ok)
		assert.Equal(t, garden.TooShort, ref.Cause)
	}
	st, _ := d.g.Snapshot(d.moment())
	assert.Zero(t, st[0].Failures)
	assert.True(t, st[0].Confirmed)
	assert.Len(t, d.sent, sent)
	d.open(t, 1)
	assert.Equal(t, int64(1), d.last().Seconds)
}

package valve

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/control/garden"
	"fabricpot/mqtt"
	"fabricpot/mqtt/internal/contract"
	"fabricpot/sim/node"
	"fabricpot/valves"
)

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

package notify

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"
	"unicode"
	"unicode/utf8"

	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/garden"
	"fabricpot/valves"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/gpio/gpiotest"
)

// way is a way that does what a test wants.
type way struct {
	name string
	do   func(context.Context, *Message) error
	mu   sync.Mutex
	got  []Message
}

func (w *way) Name() string { return w.name }
func (w *way) Send(ctx context.Context, m *Message) error {
	if w.do != nil {
		if err := w.do(ctx, m); err != nil {
			return err
		}
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	w.got = append(w.got, *m)
	return nil
}
func (w *way) count() int {
	w.mu.Lock()
	defer w.mu.Unlock()
	return len(w.got)
}

// memory keeps values as a journal does.
type memory struct{ sync.Map }

func (m *memory) Meta(k string) (string, bool, error) {
	v, ok := m.Load(k)
	if !ok {
		return "", false, nil
	}
	return v.(string), true, nil
}
func (m *memory) SetMeta(k, v string) error { m.Store(k, v); return nil }

// scene is what a Post looks at.
type scene struct {
	mu     sync.Mutex
	alarms []runner.AlarmLine
	after  time.Duration
}

func (s *scene) set(a ...runner.AlarmLine) { s.mu.Lock(); s.alarms = a; s.mu.Unlock() }
func (s *scene) pass(d time.Duration)      { s.mu.Lock(); s.after += d; s.mu.Unlock() }
func (s *scene) clock() garden.Moment {
	s.mu.Lock()
	defer s.mu.Unlock()
	return moment(s.after)
}
func (s *scene) look() ([]runner.AlarmLine, bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return append([]runner.AlarmLine(nil), s.alarms...), true
}

func post(s *scene, mem Memory, ways ...Way) *Post {
	return patient(50*time.Millisecond, s, mem, ways...)
}

// patient is a post that waits so long for an answer.
func patient(long time.Duration, s *scene, mem Memory, ways ...Way) *Post {
	return Open(context.Background(), Options{Site: site, Set: settings(), Ways: ways, Alarms: s.look, Clock: s.clock, Memory: mem,
		Log: func(string) {}, Waits: []time.Duration{time.Millisecond, time.Millisecond}, Patience: long})
}

// soon is for what comes at once where it comes at all, on a busy machine too.
const soon = 20 * time.Second

func TestPostSendsByEachWay(t *testing.T) {
	s, a, b := &scene{}, &way{name: "a"}, &way{name: "b"}
	p := post(s, nil, a, b)
	defer p.Close()
	s.set(stands("no flow", "one", 0))
	require.Eventually(t, func() bool { return a.count() == 1 && b.count() == 1 }, soon, time.Millisecond)
	assert.Equal(t, a.got[0], b.got[0])
	st := p.Ways()
	require.Len(t, st, 2)
	assert.EqualValues(t, 1, st[0].Sent)
	assert.True(t, st[0].Works())
	assert.Equal(t, moment(0).Wall, *st[0].LastSent)
}

// TestOneWayHoldsUpNoOther: one that hangs, one that panics and one that refuses
// harm neither each other nor whoever waits.
func TestOneWayHoldsUpNoOther(t *testing.T) {
	s := &scene{}
	hangs := &way{name: "hangs", do: func(ctx context.Context, _ *Message) error { <-ctx.Done(); return ctx.Err() }}
	panics := &way{name: "panics", do: func(context.Context, *Message) error { panic("somebody else's") }}
	tries := atomic.Int64{}
	refuses := &way{name: "refuses", do: func(context.Context, *Message) error { tries.Add(1); return errors.Join(errors.New("no"), errForGood) }}
	third := atomic.Int64{}
	at3 := &way{name: "at the third", do: func(context.Context, *Message) error {
		if third.Add(1) < 3 {
			return errors.New("not yet")
		}
		return nil
	}}
	good := &way{name: "good"}
	p := post(s, nil, hangs, panics, refuses, at3, good)
	s.set(stands("no flow", "one", 0))
	require.Eventually(t, func() bool {
		st := p.Ways()
		return good.count() == 1 && at3.count() == 1 && st[0].Failed == 1 && st[1].Failed == 1 && st[2].Failed == 1
	}, soon, time.Millisecond)
	assert.EqualValues(t, 1, tries.Load(), "what was refused for good is not tried again")
	st := p.Ways()
	assert.False(t, st[0].Works())
	assert.Contains(t, st[1].LastError, "somebody else's")
	assert.True(t, st[3].Works())
	p.Close()
}

// TestQueueIsBounded: what does not fit is counted, serious messages stay.
func TestQueueIsBounded(t *testing.T) {
	o := newOutlet(&way{name: "none"}, nil, time.Now, func(string) {})
	for n := range 40 {
		o.put(&Message{Title: fmt.Sprint(n), Serious: n == 3 || n == 30})
	}
	assert.Len(t, o.queue, mostQueued)
	assert.EqualValues(t, 40-mostQueued, o.snapshot().Dropped)
	assert.Equal(t, "3", o.queue[0].Title)
	assert.Equal(t, "30", o.queue[1].Title)
	assert.Equal(t, "39", o.queue[mostQueued-1].Title, "the newest stays")
}

// TestUnsentIsToldByTheNextRun: a stop in the middle of a try loses nothing, and
// what was sent is not sent again.
func TestUnsentIsToldByTheNextRun(t *testing.T) {
	s, mem := &scene{}, &memory{}
	s.set(stands("no flow", "one", 0))
	inside := make(chan struct{}, 8)
	hangs := &way{name: "hangs", do: func(ctx context.Context, _ *Message) error { inside <- struct{}{}; <-ctx.Done(); return ctx.Err() }}
	p := patient(time.Minute, s, mem, hangs)
	<-inside
	began := time.Now()
	p.Close()
	assert.Less(t, time.Since(began), soon, "a stop does not wait for a server")
	good := &way{name: "good"}
	p = post(s, mem, good)
	require.Eventually(t, func() bool { return good.count() == 1 }, soon, time.Millisecond)
	p.Close()
	p = post(s, mem, good)
	time.Sleep(20 * time.Millisecond)
	p.Close()
	assert.Equal(t, 1, good.count())
}

// TestCrashLosesNoEnd: a run that is killed, not stopped, while the end of an alarm
// is on its way leaves it to the next; and once it was sent nothing is repeated.
func TestCrashLosesNoEnd(t *testing.T) {
	s, mem := &scene{}, &memory{}
	hang := atomic.Bool{}
	inside := make(chan struct{}, 64)
	slow := &way{name: "slow", do: func(ctx context.Context, _ *Message) error {
		if hang.Load() {
			inside <- struct{}{}
			<-ctx.Done()
			return ctx.Err()
		}
		return nil
	}}
	p := patient(time.Minute, s, mem, slow)
	s.set(stands("no flow", "one", 0))
	p.turn()
	require.Eventually(t, func() bool { return slow.count() == 1 }, soon, time.Millisecond)
	hang.Store(true)
	s.set()
	p.turn()
	<-inside
	killed := &memory{}
	text, _, _ := mem.Meta(memoryKey)
	require.NoError(t, killed.SetMeta(memoryKey, text))
	p.Close()

	good := &way{name: "good"}
	p = post(s, killed, good)
	require.Eventually(t, func() bool { return good.count() == 1 }, soon, time.Millisecond)
	require.Len(t, good.got[0].Alarms, 1)
	assert.Equal(t, StateOver, good.got[0].Alarms[0].State)
	// It is kept that this was sent, with no stop in between.
	require.Eventually(t, func() bool {
		p.turn()
		text, _, _ := killed.Meta(memoryKey)
		return !strings.Contains(text, "no flow")
	}, soon, time.Millisecond)
	p.Close()
}

// TestSelfTestIsDueAfterACrash: the month from which the next is reckoned is kept at
// once, and not only when something was told.
func TestSelfTestIsDueAfterACrash(t *testing.T) {
	s, mem := &scene{}, &memory{}
	o := Options{Site: site, Set: settings(func(c *garden.Calling) { c.SelfTestDay = 28 }), Ways: []Way{&way{name: "a"}}, Alarms: s.look, Clock: s.clock, Memory: mem, Log: func(string) {}}
	p := Open(context.Background(), o)
	defer p.Close()
	require.Eventually(t, func() bool {
		text, _, _ := mem.Meta(memoryKey)
		return strings.Contains(text, `"self_tested":"2026-06"`)
	}, soon, time.Millisecond)
}

// TestAServersWordsAreBounded: what a server answers is shown on page and terminal.
func TestAServersWordsAreBounded(t *testing.T) {
	s := &scene{}
	said := make(chan string, 8)
	loud := &way{name: "loud", do: func(context.Context, *Message) error {
		return fmt.Errorf("no: %s: %w", strings.Repeat("\x1b[31mλ\n", 5000), errForGood)
	}}
	p := Open(context.Background(), Options{Site: site, Set: settings(), Ways: []Way{loud}, Alarms: s.look, Clock: s.clock, Log: func(line string) { said <- line }})
	defer p.Close()
	s.set(stands("no flow", "one", 0))
	p.turn()
	rung, err := p.Ring(context.Background())
	require.NoError(t, err)
	line := <-said
	assert.Contains(t, line, "given up", "it still counts as refused for good")
	for _, text := range []string{line, rung[0].Error, p.Ways()[0].LastError} {
		assert.LessOrEqual(t, utf8.RuneCountInString(text), mostWords+40)
		assert.Less(t, strings.IndexFunc(text, unicode.IsControl), 0, "%q", text)
		assert.Contains(t, text, "no: ")
	}
}

func TestRing(t *testing.T) {
	s, good := &scene{}, &way{name: "good"}
	bad := &way{name: "bad", do: func(context.Context, *Message) error { return errors.New("no such host") }}
	p := post(s, nil, good, bad)
	defer p.Close()
	got, err := p.Ring(context.Background())
	require.NoError(t, err)
	assert.Equal(t, []Rung{{Name: "good"}, {Name: "bad", Error: "no such host"}}, got)
	assert.Equal(t, KindSelfTest, good.got[0].Kind)
	_, err = p.Ring(context.Background())
	require.ErrorContains(t, err, "a moment ago")
	s.pass(time.Minute)
	_, err = p.Ring(context.Background())
	require.NoError(t, err)
	assert.Equal(t, []Rung{{Name: "good"}}, RingOnce(context.Background(), site, []Way{good}, moment(0)))
}

// TestLamp: on for its time after each message, dark when somebody has seen it,
// and at the end.
func TestLamp(t *testing.T) {
	s, pin := &scene{}, &gpiotest.Pin{N: "lamp", L: gpio.High}
	on, err := valves.NewIndicator(pin, false, 10*time.Minute)
	require.NoError(t, err)
	l, err := NewLamp(on, 10*time.Minute, func() time.Duration { return s.clock().Mono })
	require.NoError(t, err)
	b := NewBook(site, settings())
	lit := map[time.Duration]bool{}
	for d := time.Duration(0); d < 3*time.Hour; d += time.Minute {
		s.pass(time.Minute)
		var list []runner.AlarmLine
		if d >= 10*time.Minute && d < 2*time.Hour {
			a := stands("no flow", "one", 10*time.Minute)
			a.Acknowledged = d >= 45*time.Minute
			list = append(list, a)
		}
		if m, ok := b.Decide(s.clock(), list); ok {
			require.NoError(t, l.Send(context.Background(), &m))
		}
		require.NoError(t, l.Tend(len(list) > 0 && !list[0].Acknowledged))
		lit[d/time.Minute] = bool(pin.Read())
	}
	for d, is := range lit {
		assert.Equal(t, d >= 10 && d < 20 || d >= 40 && d < 45, is, "minute %d", d)
	}
	require.NoError(t, l.Send(context.Background(), &Message{Kind: KindSelfTest}))
	require.NoError(t, l.Tend(false))
	assert.Equal(t, gpio.High, pin.Read(), "a test shows for a moment")
	s.pass(testBlink)
	require.NoError(t, l.Tend(false))
	assert.Equal(t, gpio.Low, pin.Read())
	require.NoError(t, l.Send(context.Background(), &Message{Kind: KindSelfTest}))
	require.NoError(t, l.End())
	assert.Equal(t, gpio.Low, pin.Read())
}

// TestOtherWaysTakeOver: a Post that follows another in the same run repeats nothing
// that arrived, tells what was on its way and how it ended, keeps within the hour's
// messages and counts on, with no memory either.
func TestOtherWaysTakeOver(t *testing.T) {
	s := &scene{}
	s.set(stands("no flow", "one", 0))
	first := &way{name: "way"}
	p := post(s, nil, first)
	require.Eventually(t, func() bool { return p.Ways()[0].Sent == 1 }, soon, time.Millisecond)
	left := p.Close()

	inside := make(chan *Message, 8)
	hangs := &way{name: "way", do: func(ctx context.Context, m *Message) error { inside <- m; <-ctx.Done(); return ctx.Err() }}
	s.set(stands("no flow", "one", 0), stands("tank low", "", 0))
	follow := func(from *Left, w Way) *Post {
		return Open(context.Background(), Options{Site: site, Set: settings(), Ways: []Way{w}, Alarms: s.look, Clock: s.clock, From: from, Log: func(string) {}, Patience: time.Minute})
	}
	said := func(m *Message) (states []string) {
		for _, i := range m.Alarms {
			states = append(states, i.Name+" "+i.State)
		}
		return states
	}
	p = follow(left, hangs)
	assert.Equal(t, []string{"tank low " + StateNew}, said(<-inside), "the other was told already")
	assert.EqualValues(t, 1, p.Ways()[0].Sent, "it counts on")
	left = p.Close()
	require.Len(t, left.sent, 2, "both within the hour")

	s.set(stands("tank low", "", 0))
	third := &way{name: "another"}
	p = follow(left, third)
	require.Eventually(t, func() bool { return third.count() >= 1 }, soon, time.Millisecond)
	assert.Len(t, p.Close().sent, 3)
	require.Len(t, third.got, 1)
	assert.ElementsMatch(t, []string{"tank low " + StateStill, "no flow " + StateOver}, said(&third.got[0]))
	assert.EqualValues(t, 1, p.Ways()[0].Sent, "another way counts from nothing")
}

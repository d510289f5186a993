package season

import (
	"testing"
	"time"

	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/garden"
	"fabricpot/sim/terrace"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// farBench is a bench with its first line on a broker, the second on a pin.
func farBench(t *testing.T, s Script) (*Bench, *farEnd) {
	g, err := s.garden()
	require.NoError(t, err)
	var end *farEnd
	o := Options{Seed: s.Seed, Start: s.start, Weather: s.weather(), Terrace: terrace.DefaultOptions(s.Seed, nil)}
	o.far = func(b *Bench) (runner.Far, error) {
		var err error
		if end, err = newFarEnd(g, b); err != nil {
			return nil, err
		}
		end.reached = func() {}
		return end.begins(b.Garden, b.Moment)
	}
	b, err := NewBench(g, o)
	require.NoError(t, err)
	return b, end
}

// TestPowerCutLeavesFarValves: a board that goes dark lets its own coils fall, and
// a node's valve is the node's: it closes by its own time limit.
func TestPowerCutLeavesFarValves(t *testing.T) {
	b, _ := farBench(t, farScript())
	far, near := b.Wires.Pin(b.Garden.Lines[0].ID), b.Wires.Pin(b.Garden.Lines[1].ID)
	require.NoError(t, b.Begin())
	for !far.Energised() || !near.Energised() {
		require.Less(t, b.Clock.Now(), 72*time.Hour, "both open at some time")
		b.RunTo(b.Clock.Now() + 10*time.Second)
	}
	b.Die(true)
	assert.False(t, near.Energised())
	assert.True(t, far.Energised())
	b.Clock.RunUntil(b.Clock.Now() + 4*time.Hour)
	assert.False(t, far.Energised(), "by the node's own limit")
}

// TestGraceIsForTheFarEndOnly: what a message takes from one end to the other
// excuses no line on a pin.
func TestGraceIsForTheFarEndOnly(t *testing.T) {
	b, _ := farBench(t, with(farScript(), func(s *Script) { s.Hours = true }))
	w := newWitness(b.Garden, map[garden.LineID]float64{})
	w.clock, w.bench = b.Clock, func() *Bench { return b }
	b.Clock.RunUntil(11*time.Hour + time.Second) // open to 11:00
	require.Less(t, time.Second, farLate)
	w.weather(&w.lines[0])
	assert.Empty(t, w.violations, "a command may be on its way")
	w.weather(&w.lines[1])
	assert.Len(t, w.violations, 1)
}

// TestClosedFirstByWhoLives: a gateway that dies before it has a way to a node, or
// just after, closes nothing there; the next is judged.
func TestClosedFirstByWhoLives(t *testing.T) {
	for _, c := range []struct {
		name          string
		dies, reached time.Duration
		judged        bool
	}{
		{"lives", time.Hour, 2 * time.Minute, true},
		{"dies before", time.Minute, 2 * time.Minute, false},
		{"dies just after", 2*time.Minute + time.Second, 2 * time.Minute, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			b, _ := farBench(t, farScript())
			w := newWitness(b.Garden, map[garden.LineID]float64{})
			w.clock, w.bench = b.Clock, func() *Bench { return b }
			w.unreachable = func() bool { return true }
			b.Clock.RunUntil(time.Minute / 2)
			w.lines[0].on = true
			w.lives(b.Clock.Now())
			w.lines[0].since = 0
			b.Clock.At(c.dies, w.died)
			b.Clock.At(c.reached, w.reached)
			b.Clock.RunUntil(4 * time.Minute)
			assert.Equal(t, c.judged, len(w.violations) > 0, "%v", w.violations)
		})
	}
}

// TestClosedFirstOnceHeard: a node that hears nothing as a gateway starts is judged
// when it hears again.
func TestClosedFirstOnceHeard(t *testing.T) {
	for _, closes := range []bool{true, false} {
		b, _ := farBench(t, farScript())
		w := newWitness(b.Garden, map[garden.LineID]float64{})
		w.clock, w.bench = b.Clock, func() *Bench { return b }
		w.unreachable = func() bool { return false }
		b.Clock.RunUntil(time.Minute)
		s := &w.lines[0]
		s.on, s.deaf = true, true
		w.lives(b.Clock.Now())
		b.Clock.RunUntil(10 * time.Minute)
		assert.Empty(t, w.violations)
		w.heard(s)
		if closes {
			s.on = false
		}
		b.Clock.RunUntil(11 * time.Minute)
		assert.Equal(t, !closes, len(w.violations) > 0)
	}
}

// TestSupplyJudged: beside a line that nobody can close one other may run, alone, and
// only when its flow was kept free for half an hour.
func TestSupplyJudged(t *testing.T) {
	for _, c := range []struct {
		name   string
		supply float64
		stuck  func(*seenLine)
		alone  bool
		fault  bool
		waited time.Duration
	}{
		{name: "room for both", supply: 24, stuck: func(*seenLine) {}, alone: true},
		{name: "open on purpose", supply: 12, stuck: func(*seenLine) {}, alone: true, waited: time.Hour, fault: true},
		{name: "can't be closed, too early", supply: 12, stuck: func(s *seenLine) { s.pinBad = true }, alone: true, waited: keptFree - time.Second, fault: true},
		{name: "can't be closed", supply: 12, stuck: func(s *seenLine) { s.pinBad = true }, alone: true, waited: keptFree},
		{name: "hears nothing", supply: 12, stuck: func(s *seenLine) { s.deaf = true }, alone: true, waited: keptFree},
		{name: "failed a moment ago", supply: 12, stuck: func(s *seenLine) { s.pinBad, s.badFrom = true, time.Hour+time.Minute }, alone: true, waited: keptFree, fault: true},
		{name: "not alone", supply: 24, stuck: func(s *seenLine) { s.pinBad = true }, waited: keptFree, fault: true},
		{name: "too much by itself", supply: 11, stuck: func(s *seenLine) { s.pinBad = true }, alone: true, waited: keptFree, fault: true},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := Script{Seed: 7, Mode: Single, Days: 8, Weather: "heat", Month: time.July, SupplyL: 24}
			for range 3 {
				s.Pots = append(s.Pots, ScriptPot{Litres: 38, Crop: "cucumber", CanopyM2: 0.5, Probes: 1, Emitters: 6})
			}
			g, err := s.garden()
			require.NoError(t, err)
			g.Supply.FlowLPH = c.supply
			w := newWitness(g, map[garden.LineID]float64{})
			w.lines[0].on, w.lines[0].since = true, time.Hour
			c.stuck(&w.lines[0])
			w.lines[1].on, w.lines[2].on = true, !c.alone
			w.supply(&w.lines[1], time.Hour+c.waited)
			assert.Equal(t, c.fault, len(w.violations) > 0, "%v", w.violations)
		})
	}
}

// TestBooksOfALineWithFewEmitters: the three emitters of this terrace's last line give
// over a tenth more than their rating, and without a meter that is no water that the
// journal does not know of.
func TestBooksOfALineWithFewEmitters(t *testing.T) {
	var b *Bench
	o, err := play(NewScript(20133, Single, 5, "somebody asks for far too much"), tricks{begun: func(life *Bench) { b = life }})
	require.NoError(t, err)
	line := b.Garden.Lines[len(b.Garden.Lines)-1]
	assert.Greater(t, b.Terrace.LineFlowLPH(line.ID), 1.1*line.FlowLPH())
	assert.Empty(t, o.Violations)
}

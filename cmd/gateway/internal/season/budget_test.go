package season

import (
	"path/filepath"
	"testing"
	"time"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/alarm"
	"fabricpot/control/garden"
	"fabricpot/sim/terrace"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestRestartBudget: after three crashes within ten minutes automatic control is
// off and says so, and dry pots still get their survival dose; orderly restarts
// and crashes far apart cost nothing, and a person turns it on again.
func TestRestartBudget(t *testing.T) {
	g := load(t, "crash.yaml", []byte(crashGarden))
	start := time.Date(2026, 7, 1, 5, 0, 0, 0, g.Site.Zone)
	rows := Climate(3, start, 5)
	volumes := map[garden.ZoneID]float64{}
	for _, p := range g.Pots {
		for _, z := range p.Zones {
			volumes[z.ID] = z.VolumeL(&p)
		}
	}
	for _, c := range []struct {
		name  string
		gap   time.Duration
		clean bool
		off   bool
	}{
		{"three crashes in ten minutes", 3 * time.Minute, false, true},
		{"three crashes in an hour", 20 * time.Minute, false, false},
		{"three orderly restarts", 3 * time.Minute, true, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			j, _, err := journal.Open(filepath.Join(t.TempDir(), "journal.db"), journal.WithClock("boot"))
			require.NoError(t, err)
			defer j.Close()
			ears := newEars()
			var b *Bench
			life := func() {
				b, err = NewBench(g, Options{Seed: 5, Start: start, Weather: rows, World: b, Tell: ears,
					Journal: runner.NewKeeper(j), History: j, Terrace: terrace.Options{StartSuctionCM: 60}})
				require.NoError(t, err)
				require.NoError(t, b.Begin())
			}
			life()
			for range 3 {
				require.False(t, b.State.AutoOff)
				b.RunTo(b.Clock.Now() + c.gap)
				if c.clean {
					b.End()
				}
				b.Die(true)
				life()
			}
			require.Equal(t, c.off, b.State.AutoOff)
			ears.ended = nil
			b.RunTo(b.Clock.Now() + 23*time.Hour)
			if !c.off {
				assert.Empty(t, ears.raised(alarm.ControlOff, alarm.KeepsCrashing))
				assert.Len(t, ears.raised(alarm.Crashed), map[bool]int{true: 0, false: 1}[c.clean], "an hour apart, within its twelve hours")
				return
			}
			assert.Empty(t, ears.raised(alarm.ControlOff), "it follows")
			raised := ears.raised(alarm.KeepsCrashing)
			require.Len(t, raised, 1)
			assert.Contains(t, raised[0].Text, "crashed 3 times")
			// A terrace dead of thirst is no safe state.
			doses := map[garden.ZoneID]int{}
			for _, d := range ears.ended {
				assert.Equal(t, garden.Survival, d.Kind)
				assert.LessOrEqual(t, d.Litres, g.Limits.SurvivalShare*volumes[d.Zone]*1.01, "%s", d.Zone)
				doses[d.Zone]++
			}
			for zone := range volumes {
				assert.Equal(t, 1, doses[zone], "%s: one a day", zone)
			}
			b.RunTo(b.Clock.Now() + 2*time.Hour)
			assert.False(t, b.State.AutoOff, "after a day it tries again")
		})
	}
}

// crashing is a gateway of the crash garden that dies and begins anew, over one journal.
type crashing struct {
	t    *testing.T
	g    *garden.Garden
	o    Options
	b    *Bench
	ears *ears
	sick bool
}

func newCrashing(t *testing.T) *crashing {
	g := load(t, "crash.yaml", []byte(crashGarden))
	start := time.Date(2026, 7, 1, 5, 0, 0, 0, g.Site.Zone)
	j, _, err := journal.Open(filepath.Join(t.TempDir(), "journal.db"), journal.WithClock("boot"))
	require.NoError(t, err)
	t.Cleanup(func() { _ = j.Close() })
	c := &crashing{t: t, g: g, ears: newEars()}
	c.o = Options{Watched: true, Seed: 5, Start: start, Weather: Climate(4, start, 5), Tell: c.ears,
		Journal: runner.NewKeeper(j), History: j, Terrace: terrace.Options{StartSuctionCM: 60}}
	c.live()
	return c
}

func (c *crashing) live() {
	var err error
	c.o.World = c.b
	c.b, err = NewBench(c.g, c.o)
	require.NoError(c.t, err)
	require.NoError(c.t, c.b.Begin())
}

// run lets time pass and tells whether nothing panicked.
func (c *crashing) run(till time.Duration) (well bool) {
	defer func() {
		if recover() != nil {
			require.NoError(c.t, c.b.Guard.CloseEverything()) // as Drive does
		}
	}()
	c.b.RunTo(till)
	return true
}

// again has it die, and begin anew after the pause of who starts it again.
func (c *crashing) again() {
	c.b.Die(true)
	c.b.Clock.Sleep(10 * time.Second)
	c.live()
}

// lives has a life last that long, or less where it panics, and begins the next.
func (c *crashing) lives(long time.Duration) {
	c.run(c.b.Clock.Now() + long)
	c.again()
}

// doses are each zone's, since the last call; nothing but survival doses is among them.
func (c *crashing) doses() map[garden.ZoneID]int {
	out := map[garden.ZoneID]int{}
	for _, d := range c.ears.ended {
		assert.Equal(c.t, garden.Survival, d.Kind)
		out[d.Zone]++
	}
	c.ears.ended = nil
	return out
}

// TestBudgetOutlivesRestarts: what crashes on and on has one alarm and not one for each
// life; lives of any length give each pot its dose a day, and none forgets why.
func TestBudgetOutlivesRestarts(t *testing.T) {
	c := newCrashing(t)
	for range 40 {
		c.lives(3 * time.Minute)
	}
	assert.True(t, c.b.State.AutoOff)
	assert.Len(t, c.ears.raised(alarm.KeepsCrashing), 1)
	assert.Empty(t, c.ears.raised(alarm.ControlOff))
	c.ears.ended = nil
	for c.b.Clock.Now() < 23*time.Hour {
		c.lives(12 * time.Minute)
		require.True(t, c.b.State.AutoOff, "after %v", c.b.Clock.Now())
	}
	assert.Len(t, c.ears.raised(alarm.KeepsCrashing), 1)
	doses := c.doses()
	c.g.EachZone(func(_ *garden.Pot, z *garden.Zone) {
		assert.LessOrEqual(t, doses[z.ID], 1, "%s", z.ID)
	})
	assert.NotEmpty(t, doses)
	c.b.Loop.Ask(c.b.Moment(), garden.Ask{Kind: garden.AskAutoOn, Who: "test"})
	assert.False(t, c.b.State.AutoOff)
	c.lives(12 * time.Minute)
	assert.False(t, c.b.State.AutoOff, "a person's word is not forgotten either")
	c.b.Loop.Ask(c.b.Moment(), garden.Ask{Kind: garden.AskAutoOff, Who: "test"})
	c.lives(30 * time.Hour)
	assert.True(t, c.b.State.AutoOff, "that no budget gives back")
}

// sickly is a sampler that panics while it is sick.
type sickly struct {
	runner.Sampler
	sick *bool
}

func (s sickly) Sample(now garden.Moment, out []garden.Reading) []garden.Reading {
	if *s.sick {
		panic("one reading too many")
	}
	return s.Sampler.Sample(now, out)
}

// TestDosesDependOnNothingThatCrashes: a gateway that panics in every round waters its
// pots all the same, tells one alarm, does what people ask, and is whole again once the
// cause is gone.
func TestDosesDependOnNothingThatCrashes(t *testing.T) {
	c := newCrashing(t)
	c.sick = true
	c.o.sampler = func(s runner.Sampler) runner.Sampler { return sickly{s, &c.sick} }
	c.again()
	crashes := 1
	for ; !c.run(20 * time.Hour); crashes++ {
		require.Less(t, crashes, 2*3+1, "what crashes is left out by then")
		c.again()
	}
	raised := c.ears.raised(alarm.KeepsCrashing)
	require.Len(t, raised, 1)
	assert.Contains(t, raised[0].Text, "went on crashing")
	doses := c.doses()
	c.g.EachZone(func(_ *garden.Pot, z *garden.Zone) {
		assert.Equal(t, 1, doses[z.ID], "%s", z.ID)
	})
	zone := c.g.Pots[0].Zones[0].ID
	c.b.Loop.Ask(c.b.Moment(), garden.Ask{Kind: garden.AskWater, Zone: zone, Litres: 0.5, Who: "test"})
	c.b.RunTo(c.b.Clock.Now() + time.Hour)
	require.Len(t, c.ears.ended, 1)
	assert.Equal(t, garden.ByHand, c.ears.ended[0].Kind)
	assert.InDelta(t, 0.5, c.ears.ended[0].Litres*c.line(zone), 0.1)
	c.ears.ended = nil

	// What it can't judge has not ended, and a person's word for the controller is kept.
	c.b.Loop.Ask(c.b.Moment(), garden.Ask{Kind: garden.GardenerWatered, Zone: zone, Litres: 3, Who: "test"})
	require.Len(t, c.b.Loop.Status().Zones, len(c.b.Loop.Status().Lines))
	assert.Nil(t, c.b.Loop.Status().Zones[0].Water)
	// The cause is gone within this very life.
	c.sick = false
	c.b.Loop.Ask(c.b.Moment(), garden.Ask{Kind: garden.AskAutoOn, Who: "test"})
	assert.False(t, c.b.State.AutoOff)
	c.b.RunTo(c.b.Clock.Now() + 20*time.Hour)
	require.NotEmpty(t, c.ears.ended)
	for _, d := range c.ears.ended {
		assert.Equal(t, garden.Irrigate, d.Kind)
	}
}

// line is the share of its line's water that a zone gets.
func (c *crashing) line(zone garden.ZoneID) float64 {
	_, z, _ := c.g.Zone(zone)
	l, _ := c.g.Line(z.Line)
	return l.ShareOf(zone)
}

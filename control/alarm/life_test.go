package alarm

import (
	"encoding/json"
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// TestDeadBand: a figure that dances about its limit inside the band is one
// alarm; outside it, it is one alarm per time that it came back.
func TestDeadBand(t *testing.T) {
	for _, k := range Kinds() {
		band, of := k.Band()
		assert.Equal(t, band > 0, of != "", "%s", k)
		if band == 0 {
			continue
		}
		t.Run(k.String(), func(t *testing.T) {
			on, off := k.Delays()
			b := NewBook()
			now, raised, cleared := time.Duration(0), 0, 0
			tick := func(over float64) {
				now += time.Minute
				b.Measure(at(now), k, "x", over, "")
				for _, c := range b.Step(at(now)) {
					switch c.Event {
					case Raised:
						raised++
					case Cleared:
						cleared++
					}
				}
			}
			for n := range 600 {
				tick([]float64{0, -0.9 * band, 2 * band, -0.5 * band}[n%4])
			}
			assert.Equal(t, 1, raised, "flapping inside the band")
			assert.Zero(t, cleared)
			for range int(off/time.Minute) + 2 {
				tick(-1.01 * band)
			}
			assert.Equal(t, 1, cleared, "and outside it is over")
			for range int(on/time.Minute) + 2 {
				tick(-0.9 * band)
			}
			assert.Equal(t, 1, raised, "inside the band nothing begins")
		})
	}
}

// TestFirstCauseStandsForAll: a bus that sticks takes its converters and their
// probes with it, whichever is noticed first.
func TestFirstCauseStandsForAll(t *testing.T) {
	b := NewBook()
	now := time.Duration(0)
	var all []Change
	tick := func(bus, converter, probes bool) {
		now += time.Minute
		for _, p := range []string{"p", "q"} {
			if probes {
				b.Hold(at(now), ProbeDead, p, "", Cause{ConverterDead, "0x48"})
			}
		}
		if converter {
			b.Hold(at(now), ConverterDead, "0x48", "", Cause{BusDead, "bus"})
		}
		if bus {
			b.Hold(at(now), BusDead, "bus", "")
		}
		all = append(all, b.Step(at(now))...)
	}
	active := func() (out []string) {
		for _, a := range b.List() {
			if a.Active {
				out = append(out, Cause{a.Kind, a.Subject}.String())
			}
		}
		return out
	}
	for range 15 {
		tick(false, false, true)
	}
	assert.Equal(t, []string{"probe does not answer (p)", "probe does not answer (q)"}, active())
	for range 15 {
		tick(false, true, true)
	}
	assert.Equal(t, []string{"converter does not answer (0x48)"}, active(), "its probes are part of it")
	for range 15 {
		tick(true, true, true)
	}
	assert.Equal(t, []string{"bus does not answer (bus)"}, active())
	for range 9 {
		tick(false, false, true)
	}
	assert.Equal(t, []string{"bus does not answer (bus)"}, active(), "not over for its delay yet")
	for range 15 {
		tick(false, false, true)
	}
	assert.Equal(t, []string{"probe does not answer (p)", "probe does not answer (q)"}, active(), "what is still wrong comes back")
	count := map[Kind]int{}
	for _, c := range all {
		if c.Event == Raised {
			count[c.Kind]++
		}
	}
	assert.Equal(t, map[Kind]int{ProbeDead: 4, ConverterDead: 1, BusDead: 1}, count)
}

// rig drives a book with random conditions, people and restarts, beside a plain
// account of what must be so.
type rig struct {
	b   *Book
	now time.Duration
	// wall runs with now; mono begins anew at a restart.
	wall time.Time
	up   map[Cause]bool // raised and not cleared, by what people were told
	rose int
}

func (r *rig) moment() garden.Moment {
	return garden.Moment{Mono: r.now, Wall: r.wall, Synced: true}
}

func (r *rig) pass(d time.Duration) { r.now += d; r.wall = r.wall.Add(d) }

func (r *rig) hear(t require.TestingT, cs []Change) {
	for _, c := range cs {
		k := Cause{c.Kind, c.Subject}
		switch c.Event {
		case Raised:
			assert.False(t, r.up[k], "%s was raised twice", k)
			r.up[k] = true
			r.rose++
		case Cleared:
			assert.True(t, r.up[k], "%s cleared and was never raised", k)
			r.up[k] = false
		case Shelved:
			// Out of service and back is a new life.
		case Returned:
			r.up[k] = false
		}
	}
}

var chain = []Cause{{BusDead, "bus"}, {ConverterDead, "0x48"}, {ProbeDead, "p"}, {OnBalance, "z"}, {NotClosed, "l"}, {TankLow, ""}}

// TestNothingIsLost: whatever comes, goes, is seen, shelved or restarted, there
// is one standing alarm per cause, none stands beside its first cause for long,
// and when all conditions are gone every alarm clears.
func TestNothingIsLost(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := &rig{b: NewBook(), wall: time.Date(2026, 7, 1, 5, 0, 0, 0, time.UTC), up: map[Cause]bool{}}
		holds := map[Cause]bool{}
		step := func() {
			r.pass(time.Duration(rapid.IntRange(1, 900).Draw(t, "seconds")) * time.Second)
			for i, c := range chain {
				if rapid.IntRange(0, 6).Draw(t, "changes") == 0 {
					holds[c] = !holds[c]
				}
				if !holds[c] {
					continue
				}
				var first []Cause
				if i > 0 && i < 4 {
					first = []Cause{chain[i-1]}
				}
				r.b.Hold(r.moment(), c.Kind, c.Subject, "", first...)
			}
			r.hear(t, r.b.Step(r.moment()))
		}
		for range rapid.IntRange(1, 120).Draw(t, "ticks") {
			step()
			c := rapid.SampledFrom(chain).Draw(t, "cause")
			switch rapid.IntRange(0, 11).Draw(t, "person") {
			case 0:
				r.b.Acknowledge(r.moment(), c.Kind, c.Subject, "someone")
			case 1:
				r.b.Shelve(r.moment(), c.Kind, c.Subject, r.now+time.Hour, "someone")
			case 2:
				cs, _ := r.b.Unshelve(r.moment(), c.Kind, c.Subject, "someone")
				r.hear(t, cs)
			case 3:
				r.restart(t)
			}
			r.look(t)
		}
		clear(holds)
		for range 3 {
			r.pass(13 * time.Hour)
			r.hear(t, r.b.Step(r.moment()))
		}
		for c, up := range r.up {
			assert.False(t, up, "%s has no way out", c)
		}
		for _, a := range r.b.List() {
			assert.False(t, a.Active, "%s", a.Kind)
			r.b.Acknowledge(r.moment(), a.Kind, a.Subject, "someone")
		}
		r.b.Step(r.moment())
		assert.Empty(t, r.b.entries, "seen and over: nothing is kept")
	})
}

// restart keeps the book and begins with another, on a clock of its own.
func (r *rig) restart(t require.TestingT) {
	text, err := json.Marshal(r.b.Keep(r.moment()))
	require.NoError(t, err)
	before := r.b.List()
	var kept []Kept
	require.NoError(t, json.Unmarshal(text, &kept))
	r.wall = r.wall.Add(time.Minute)
	was := r.now
	r.now = 3 * time.Second
	r.b = NewBook()
	r.b.Restore(r.moment(), kept)
	after := r.b.List()
	require.LessOrEqual(t, len(after), len(before))
	for i := range before {
		if a := before[i]; !a.Active && a.ShelvedUntil > 0 && a.ShelvedUntil-was <= time.Minute {
			continue // its time may have come in between
		}
		// Order among equals may differ by the time; find it.
		found := false
		for _, a := range after {
			if a.Kind == before[i].Kind && a.Subject == before[i].Subject {
				found = true
				assert.Equal(t, before[i].Acknowledged, a.Acknowledged, "%s", a.Kind)
				assert.Equal(t, before[i].Active, a.Active, "%s", a.Kind)
				assert.Equal(t, before[i].Text, a.Text)
			}
		}
		assert.True(t, found, "%s is gone", before[i].Kind)
	}
}

// look holds the list against what people were told.
func (r *rig) look(t require.TestingT) {
	listed := map[Cause]Alarm{}
	for _, a := range r.b.List() {
		c := Cause{a.Kind, a.Subject}
		_, twice := listed[c]
		assert.False(t, twice, "%s stands twice", c)
		listed[c] = a
	}
	for c, up := range r.up {
		if up {
			assert.True(t, listed[c].Active, "%s is raised and not in the list", c)
		}
	}
	for c, a := range listed {
		if a.Active && a.ShelvedUntil == 0 {
			assert.True(t, r.up[c], "%s stands and nobody was told", c)
		}
		// One alarm per cause: never a first cause and what follows from it, as
		// long as both hold.
		if e := r.b.at[c]; a.Active && e.holds {
			if f := r.b.behind(e); f != nil {
				assert.False(t, f.active, "%s stands beside %s", c, f.Cause)
			}
		}
	}
}

func TestAcknowledgedSurvivesARestart(t *testing.T) {
	r := &rig{b: NewBook(), wall: time.Date(2026, 7, 1, 5, 0, 0, 0, time.UTC), up: map[Cause]bool{}}
	hold := func() {
		r.pass(time.Minute)
		r.b.Hold(r.moment(), LineFaulted, "l", "coil")
		r.hear(t, r.b.Step(r.moment()))
	}
	hold()
	_, ok := r.b.Acknowledge(r.moment(), LineFaulted, "l", "someone")
	require.True(t, ok)
	since := r.b.List()[0].Since.Wall
	r.restart(t)
	for range 30 {
		hold()
	}
	assert.Equal(t, 1, r.rose, "it is no news")
	assert.Equal(t, "acknowledged", r.b.List()[0].State())
	assert.Equal(t, since, r.b.List()[0].Since.Wall)
	// Gone while nobody ran: it clears after its delay.
	r.restart(t)
	r.hear(t, r.b.Step(r.moment()))
	r.pass(11 * time.Minute)
	r.hear(t, r.b.Step(r.moment()))
	assert.Empty(t, r.b.List())
	assert.False(t, r.up[Cause{LineFaulted, "l"}], "and that was told")
}

func TestOutOfServiceSurvivesARestart(t *testing.T) {
	wall := time.Date(2026, 7, 1, 5, 0, 0, 0, time.UTC)
	b := NewBook()
	_, ok := b.Shelve(garden.Moment{Mono: time.Hour, Wall: wall, Synced: true}, Frost, "", 5*time.Hour, "someone")
	require.True(t, ok)
	_, ok = b.Shelve(garden.Moment{Mono: time.Hour}, Frost, "", time.Hour+MostShelved+1, "someone")
	assert.False(t, ok, "not for good")
	kept := b.Keep(garden.Moment{Mono: 2 * time.Hour, Wall: wall.Add(time.Hour), Synced: true})
	for _, c := range []struct {
		name   string
		now    garden.Moment
		left   time.Duration
		unsync bool
	}{
		{"an hour later", garden.Moment{Mono: time.Second, Wall: wall.Add(2 * time.Hour), Synced: true}, 2 * time.Hour, false},
		{"a clock at its beginning", garden.Moment{Mono: time.Second, Wall: time.Unix(0, 0)}, 3 * time.Hour, true},
		{"a clock far ahead", garden.Moment{Mono: time.Second, Wall: wall.AddDate(1, 0, 0), Synced: true}, 0, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			again := NewBook()
			again.Restore(c.now, kept)
			list := again.List()
			if c.left == 0 {
				assert.Empty(t, list)
				return
			}
			require.Len(t, list, 1)
			assert.Equal(t, c.now.Mono+c.left, list[0].ShelvedUntil)
		})
	}
	again := NewBook()
	again.Restore(at(0), []Kept{{Kind: "a kind of another program", Active: true}})
	assert.Empty(t, again.List())
}

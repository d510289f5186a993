package season

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestNotJudged: of a line that never runs alone no meter's promise is put to the
// test, nor where the run ends first; both are told apart from a line of which
// nothing was asked.
func TestNotJudged(t *testing.T) {
	const h = time.Hour
	span := func(from time.Duration) openSpan { return openSpan{from, from + 15*time.Minute} }
	for _, c := range []struct {
		name               string
		lasts              time.Duration
		asked              []time.Duration // of the mishap's line, which runs then
		other              []openSpan
		expected, unjudged bool
	}{
		{"nothing was asked", 0, []time.Duration{20 * h}, []openSpan{span(30 * h)}, false, false},
		{"alone", 0, []time.Duration{30 * h}, nil, true, false},
		{"never alone", 0, []time.Duration{30 * h, 40 * h}, []openSpan{span(30 * h), span(40*h + 2*time.Minute)}, false, true},
		{"once alone", 0, []time.Duration{30 * h, 40 * h}, []openSpan{span(30 * h)}, true, false},
		{"the run ends first", 0, []time.Duration{71 * h}, nil, false, true},
		{"the fault ends first", 10 * h, []time.Duration{34 * h}, nil, false, true},
		{"the fault ends later", 12 * h, []time.Duration{34 * h}, nil, true, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := with(thirstyScript(), func(s *Script) {
				s.Mode, s.Meter = Single, true
				s.Mishaps = []Mishap{{Kind: "valve does not open", Pot: 0, At: 25 * h, For: c.lasts}}
			})
			g, err := s.garden()
			require.NoError(t, err)
			b, err := NewBench(g, Options{Seed: s.Seed, Start: s.start, Weather: s.weather()})
			require.NoError(t, err)
			b.Clock.RunUntil(72 * h)
			w := newWitness(g, nil)
			w.lines[0].asked, w.lines[1].spans = c.asked, c.other
			for _, at := range c.asked {
				w.lines[0].spans = append(w.lines[0].spans, span(at))
			}
			o := Outcome{Script: s}
			(&course{s: &s, w: w, b: b, g: g}).detect(&o)
			assert.Equal(t, c.expected, o.Expected)
			assert.Equal(t, c.unjudged, o.Unjudged)
			k := &Campaign{Mishaps: []MishapResult{{Kind: "valve does not open"}}}
			o.Violations = nil // no alarm came
			k.count(o)
			assert.Equal(t, c.unjudged, k.Mishaps[0].Unjudged == 1)
		})
	}
}

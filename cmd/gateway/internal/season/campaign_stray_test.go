package season

import (
	"testing"
	"time"

	"fabricpot/control/alarm"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestStrayWaterIsPromisedWithEveryLineClosed: a valve that will not close gives no
// stray water before its own pulse is over, nor while another line is open; the time
// with every line closed is what the promise of half an hour counts, all of it, and
// that of other promises stands still for nothing.
func TestStrayWaterIsPromisedWithEveryLineClosed(t *testing.T) {
	const at, end = 30 * time.Hour, 72 * time.Hour
	span := func(from, to float64) openSpan { // min after the fault
		return openSpan{at + time.Duration(from*float64(time.Minute)), at + time.Duration(to*float64(time.Minute))}
	}
	const strays, hose = "remote valve says closed and flows", "hose off"
	for _, c := range []struct {
		name       string
		kind       MishapKind
		own, other []openSpan
		told       float64 // min after the fault; 0 never
		after      float64 // min, as the promise counts
		kept       bool
	}{
		{"all closed, in time", strays, nil, nil, 29, 29, true},
		{"all closed, late", strays, nil, nil, 31, 31, false},
		{"all closed, never", strays, nil, nil, 0, -1. / 60, false},
		{"openings before it count for nothing", strays, []openSpan{span(-60, -20)}, []openSpan{span(-90, -1)}, 31, 31, false},
		{"nor those after the alarm", strays, []openSpan{span(35, 50)}, nil, 31, 31, false},
		{"in its own pulse", strays, []openSpan{span(-1, 29.5)}, nil, 32.5, 3, true},
		{"in its own pulse, late", strays, []openSpan{span(-1, 29.5)}, nil, 60, 30.5, false},
		{"another line in between", strays, nil, []openSpan{span(5, 15), span(20, 25)}, 40, 25, true},
		{"another line in between, late", strays, nil, []openSpan{span(5, 15), span(20, 25)}, 46, 31, false},
		{"two at once count once", strays, []openSpan{span(5, 15)}, []openSpan{span(6, 8), span(10, 20)}, 46, 31, false},
		{"opened and never told", strays, []openSpan{span(-1, 29.5)}, nil, 0, -1. / 60, false},
		{"another promise, while its line is open", hose, []openSpan{span(1, 40)}, nil, 122, 121, false},
		{"another promise, in time", hose, []openSpan{span(1, 40)}, nil, 120, 119, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := with(thirstyScript(), func(s *Script) {
				s.Mode, s.Meter, s.Mishaps = Single, true, []Mishap{{Kind: c.kind, Pot: 0, At: at}}
			})
			g, err := s.garden()
			require.NoError(t, err)
			b, err := NewBench(g, Options{Seed: s.Seed, Start: s.start, Weather: s.weather()})
			require.NoError(t, err)
			b.Clock.RunUntil(end)
			w := newWitness(g, nil)
			w.lines[0].spans, w.lines[1].spans = c.own, c.other
			for _, o := range c.own {
				w.lines[0].asked = append(w.lines[0].asked, o.from)
			}
			o := Outcome{Script: s}
			if c.told > 0 {
				o.Alarms = []SeenAlarm{{kind: mishapOf(c.kind).alarms[0], at: span(c.told, 0).from}}
			}
			(&course{s: &s, w: w, b: b, g: g}).detect(&o)
			assert.True(t, o.Expected)
			assert.InDelta(t, c.after*60, o.DetectedS, 1e-6)
			assert.Equal(t, c.kept, len(o.Violations) == 0, "%v", o.Violations)
		})
	}
}

// TestStaysOpenSoonAfterItOpened: in this run the valve jams 18 s into a pulse of half
// an hour, so that nothing of what it gives is stray before that is over.
func TestStaysOpenSoonAfterItOpened(t *testing.T) {
	var w *witness
	o, err := play(NewScript(50016, Single, singleDays, "remote valve says closed and flows"), tricks{wrap: func(o *Options) { w = o.Journal.(*memBook).w }})
	require.NoError(t, err)
	m := o.Script.Mishaps[0]
	var pulse openSpan
	for _, s := range w.lines[m.Pot].spans {
		if s.from <= m.At && m.At < s.to {
			pulse = s
		}
	}
	require.Greater(t, pulse.to-m.At, 25*time.Minute)
	assert.Empty(t, o.Violations)
	require.True(t, o.Expected)
	require.Len(t, o.Alarms, 1)
	assert.Equal(t, alarm.FlowWithoutOrder, o.Alarms[0].kind)
	assert.InDelta(t, (o.Alarms[0].at - pulse.to).Seconds(), o.DetectedS, 1e-6)
	assert.Less(t, o.DetectedS, 300.)
}

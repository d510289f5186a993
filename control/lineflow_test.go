package control

import (
	"encoding/json"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/control/garden"
)

// meteredBench has a garden of so many lines and a meter, whose flows are each line's
// rating times what flows says.
type meteredBench struct {
	*bench
	flows []float64
}

func newMetered(t *testing.T, lines int) *meteredBench {
	g := testGarden(lines, 20)
	g.Supply.MeterPulsesPerL = garden.Known(400)
	m := &meteredBench{bench: newBench(t, g), flows: make([]float64, lines)}
	for i := range m.flows {
		m.flows[i] = 1
	}
	return m
}

// opens has a line give litres, as a meter counts them, every eight hours.
func (m *meteredBench) opens(line int, litres float64, times int, change func(*garden.Delivery)) {
	for range times {
		m.now = m.now.Add(8 * time.Hour)
		l := &m.p.lines[line]
		d := garden.Delivery{Line: l.ID, Kind: garden.Irrigate, Litres: litres, Metered: true, Alone: true, End: garden.Complete,
			Open: hours(litres / (l.FlowLPH * m.flows[line])), ClosedAt: m.now}
		if change != nil {
			change(&d)
		}
		m.obs.Delivered = append(m.obs.Delivered[:0], d)
		m.obs.Readings = m.obs.Readings[:0]
		m.p.Step(m.st, m.now, &m.obs, nil)
		m.events = append(m.events, m.st.Events()...)
		m.obs.Delivered = m.obs.Delivered[:0]
	}
}

func (m *meteredBench) told() (out []Event) {
	for _, e := range m.events {
		if e.Kind == LessFlows {
			out = append(out, e)
		}
	}
	m.events = nil
	return out
}

func TestALineThatGivesLessThanItDid(t *testing.T) {
	t.Run("half of its emitters", func(t *testing.T) {
		m := newMetered(t, 2)
		m.flows[0], m.flows[1] = 0.8, 0.8 // less than its label says, which is as usual
		m.opens(0, 1.5, 6, nil)
		m.opens(1, 1.5, 6, nil)
		require.Empty(t, m.told())
		m.flows[0] = 0.4
		m.opens(0, 1.5, 2, nil)
		require.Empty(t, m.told(), "twice may be chance")
		m.opens(0, 1.5, 1, nil)
		got := m.told()
		require.Len(t, got, 1)
		assert.Equal(t, m.p.lines[0].ID, got[0].Line)
		assert.InDelta(t, 0.5, got[0].A, 1e-9)
		assert.InDelta(t, 0.4*m.p.lines[0].FlowLPH, got[0].B, 1e-9)
		assert.Contains(t, got[0].String(), "50 % of what it used to")
		m.opens(0, 1.5, 6, nil)
		assert.Len(t, m.told(), 3, "again while it goes on, every other time here")
		m.flows[0] = 0.64 // four fifths of the usual: not told of anew, and not over either
		m.opens(0, 1.5, 2, nil)
		assert.NotEmpty(t, m.told())
		m.flows[0] = 0.8
		m.opens(0, 1.5, 8, nil)
		assert.Empty(t, m.told(), "mended")
	})
	t.Run("one emitter of several, and what a meter counts by the litre", func(t *testing.T) {
		m := newMetered(t, 1)
		m.p.supply.MeterPulsesPerL = garden.Known(1)
		m.opens(0, 4, 40, nil)
		require.Equal(t, usualFlows, m.st.lines[0].flow.looks, "eight openings are a look of 32 pulses")
		m.flows[0] = 0.8
		m.opens(0, 4, 60, nil)
		assert.Empty(t, m.told())
	})
	t.Run("all lines are one alarm, the supply's", func(t *testing.T) {
		m := newMetered(t, 3)
		for i := range m.flows {
			m.opens(i, 1.5, 6, nil)
			m.flows[i] = 0.6
		}
		for range 4 {
			for i := range m.flows {
				m.opens(i, 1.5, 1, nil)
			}
		}
		got := m.told()
		require.NotEmpty(t, got)
		last := got[len(got)-1]
		assert.Empty(t, last.Line)
		assert.InDelta(t, 0.6, last.A, 1e-9)
		assert.Contains(t, last.String(), "every line")
		m.flows[1] = 1
		m.opens(1, 1.5, 1, nil)
		m.told()
		m.opens(0, 1.5, 3, nil)
		for _, e := range m.told() {
			assert.NotEmpty(t, e.Line, "one of them is as it was")
		}
	})
	t.Run("slowly", func(t *testing.T) {
		m := newMetered(t, 1)
		m.opens(0, 1.5, 10, nil)
		for m.flows[0] > 0.5 { // 0.6 % a day
			m.flows[0] -= 0.002
			m.opens(0, 1.5, 1, nil)
		}
		assert.NotEmpty(t, m.told())
	})
	t.Run("for weeks", func(t *testing.T) {
		m := newMetered(t, 1)
		m.opens(0, 1.5, 10, nil)
		m.flows[0] = 0.5
		m.opens(0, 1.5, 3, nil)
		for range 40 {
			m.told()
			m.opens(0, 1.5, 3, nil) // a day
			assert.NotEmpty(t, m.told(), "it goes on being told")
		}
	})
}

func TestWhatSaysNothingOfALinesFlow(t *testing.T) {
	for name, change := range map[string]func(*garden.Delivery){
		"not metered": func(d *garden.Delivery) { d.Metered = false }, "another line beside it": func(d *garden.Delivery) { d.Alone = false },
		"feed through an injector": func(d *garden.Delivery) { d.DosedL = 0.1 }, "pipes that fill": func(d *garden.Delivery) { d.Open, d.Litres = time.Minute, 0.05 },
		"a valve that failed": func(d *garden.Delivery) { d.End = garden.Faulted }, "charged": func(d *garden.Delivery) { d.End = garden.Unfinished },
	} {
		m := newMetered(t, 1)
		m.opens(0, 1.5, 6, nil)
		m.flows[0] = 0.3
		m.opens(0, 1.5, 20, change)
		assert.Empty(t, m.told(), name)
		assert.False(t, m.st.lines[0].flow.isLess(), name)
	}
	t.Run("a hose that comes off and is put back", func(t *testing.T) {
		m := newMetered(t, 1)
		m.opens(0, 1.5, 6, nil)
		m.flows[0] = 3
		m.opens(0, 5, 20, nil)
		m.flows[0] = 1
		m.opens(0, 1.5, 6, nil)
		assert.Empty(t, m.told())
		assert.InDelta(t, m.p.lines[0].FlowLPH, m.st.lines[0].flow.usual, 1e-9)
	})
	t.Run("emitters that were exchanged for good", func(t *testing.T) {
		m := newMetered(t, 1)
		m.opens(0, 1.5, 6, nil)
		m.flows[0] = 0.5
		m.opens(0, 1.5, int(resignedFlows/(8*time.Hour))+usualFlows+1, nil)
		require.NotEmpty(t, m.told())
		m.opens(0, 1.5, 10, nil)
		assert.Empty(t, m.told())
		assert.InDelta(t, 0.5*m.p.lines[0].FlowLPH, m.st.lines[0].flow.usual, 1e-9)
	})
	t.Run("a morning of low pressure", func(t *testing.T) {
		m := newMetered(t, 1)
		m.opens(0, 1.5, 6, nil)
		m.flows[0] = 0.5
		for range 6 {
			m.opens(0, 1.5, 1, func(d *garden.Delivery) {
				m.now = m.now.Add(-8*time.Hour + 40*time.Minute)
				d.ClosedAt = m.now
			})
		}
		assert.Empty(t, m.told())
	})
}

func TestALinesFlowOutlivesARestart(t *testing.T) {
	m := newMetered(t, 1)
	m.opens(0, 1.5, 6, nil)
	m.flows[0] = 0.5
	m.opens(0, 1.5, 2, nil)
	raw, err := json.Marshal(m.p.Remember(m.st, m.now))
	require.NoError(t, err)
	begin := func(change func(*LineMemory)) {
		var kept Memory
		require.NoError(t, json.Unmarshal(raw, &kept))
		require.Len(t, kept.Lines, 1)
		change(&kept.Lines[0])
		m.st = m.p.NewState()
		m.p.Recall(m.st, m.now, kept, nil)
		m.opens(0, 1.5, 1, nil)
	}
	begin(func(*LineMemory) {})
	assert.Len(t, m.told(), 1, "the third of three")
	for name, change := range map[string]func(*LineMemory){
		"another rating": func(r *LineMemory) { r.Rated++ }, "another meter": func(r *LineMemory) { r.PerL = 1 }, "another line": func(r *LineMemory) { r.Line = "gone" },
		"not a number": func(r *LineMemory) { r.Usual = math.NaN() }, "negative": func(r *LineMemory) { r.Usual = -1 },
	} {
		begin(change)
		assert.Empty(t, m.told(), name)
		assert.Equal(t, 1, m.st.lines[0].flow.looks, name)
	}
	for name, change := range map[string]func(*LineMemory){
		"endless": func(r *LineMemory) { r.Hours = math.Inf(1) }, "not a number": func(r *LineMemory) { r.Ratio = math.NaN() }, "negative": func(r *LineMemory) { r.Less = -1 },
		"long ago": func(r *LineMemory) { r.Ago = 9 * 24 },
	} {
		begin(change)
		assert.Empty(t, m.told(), name)
		assert.Equal(t, 1, m.st.lines[0].flow.less, "%s: what is usual stands", name)
	}
	t.Run("last year", func(t *testing.T) {
		m.now = m.now.Add(200 * 24 * time.Hour)
		begin(func(r *LineMemory) { r.Less = 5 })
		assert.Empty(t, m.told())
	})
	t.Run("a meter of other pulses by a reload", func(t *testing.T) {
		begin(func(*LineMemory) {})
		m.told()
		g := testGarden(1, 20)
		g.Supply.MeterPulsesPerL = garden.Known(200)
		require.NoError(t, m.reloadInto(g, nothingChanged))
		m.opens(0, 1.5, 3, nil)
		assert.Empty(t, m.told())
	})
}

package season

import (
	"strings"
	"testing"
	"time"

	"fabricpot/control/alarm"
	"fabricpot/sim/terrace"
	"fabricpot/testdata"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestSupplyShort: a supply, or hours, that can't give what a hot week takes is
// one alarm that names both; turns alone are none.
func TestSupplyShort(t *testing.T) {
	for _, c := range []struct {
		name, supply string
		short        bool
	}{
		{"as in the example", "flow: 60 L/h", false},
		{"just one line at a time", "flow: 20 L/h", false},
		{"half an hour a day", "flow: 60 L/h\n  hours: [05:00-05:30]", true},
		{"one line at a time in a short morning", "flow: 20 L/h\n  hours: [05:00-06:30]", true},
	} {
		t.Run(c.name, func(t *testing.T) {
			src := strings.Replace(string(testdata.Heatwave), "supply:\n  flow: 60 L/h", "supply:\n  "+c.supply, 1)
			g := load(t, "supply.yaml", []byte(src))
			rows := Climate(1, time.Date(2026, 7, 1, 0, 0, 0, 0, g.Site.Zone), 8)
			ears := newEars()
			b, err := NewBench(g, Options{Seed: 1, Start: rows[0].Date, Weather: rows, Tell: ears, Terrace: terrace.Options{StartSuctionCM: 20}})
			require.NoError(t, err)
			require.NoError(t, b.Begin())
			b.RunTo(6 * 24 * time.Hour)
			b.End()
			up := ears.raised(alarm.SupplyShort)
			for _, a := range up {
				t.Log(a.At.Wall.Format("2 Jan 15:04"), a)
			}
			for _, l := range g.Lines {
				t.Log(l.ID, l.FlowLPH())
			}
			if !c.short {
				assert.Empty(t, up)
				return
			}
			require.Len(t, up, 1, "one alarm, however many lines wait each day")
			assert.Contains(t, up[0].Text, "under its refill point")
		})
	}
}

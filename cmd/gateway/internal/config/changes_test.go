package config

import (
	"strings"
	"testing"

	"fabricpot/control/garden"
	"fabricpot/testdata"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestChanges names what differs by its keys and place, and what takes a restart.
func TestChanges(t *testing.T) {
	load := func(t *testing.T, src string) (*garden.Garden, *Source) {
		t.Helper()
		g, s, err := Load("g.yaml", []byte(src))
		require.NoError(t, err)
		return g, s
	}
	terrace := string(testdata.Terrace)
	was, _ := load(t, terrace)
	same, _ := load(t, terrace+"# a word\n")
	assert.Empty(t, Changes(was, same), "a comment is no change")

	const broker = "broker:"
	for _, c := range []struct {
		name, from, to string
		path           string
		restart        bool
	}{
		{"a plant's canopy", "canopy: 0.5 m2", "canopy: 0.7 m2", "pots.aubergine.zones.main.plants", false},
		{"a size", "size: 38 L ", "size: 40 L ", "pots.chilli.size", false},
		{"a mix's curve", "theta-s: 88 %", "theta-s: 86 %", "mixes.light", false},
		{"a product", "label: 20-10-20", "label: 20-20-20", "products.crystals", false},
		{"a depth", "shallow: { depth: 12 cm", "shallow: { depth: 14 cm", "pots.aubergine.zones.main.probes.aubergine-shallow.depth", false},
		{"a probe's input", "input: 0x48/1 }", "input: 0x4b/3 }", "pots.aubergine.zones.main.probes.aubergine-deep.input", true},
		{"the rounds", "sample-every: 1 min", "sample-every: 2 min", "sample-every", true},
		{"the site", "elevation: 45 m", "elevation: 46 m", "site", true},
	} {
		t.Run(c.name, func(t *testing.T) {
			require.Contains(t, terrace, c.from)
			to, src := load(t, strings.Replace(terrace, c.from, c.to, 1))
			got := Changes(was, to)
			require.Len(t, got, 1, "%+v", got)
			assert.Equal(t, Change{Path: c.path, How: "changed", Restart: c.restart}, got[0])
			assert.Regexp(t, `^g\.yaml:\d+:\d+: .*: changed$`, src.LocateChange(got[0]))
			assert.NotContains(t, src.LocateChange(got[0]), ":1:1:", "its own place")
		})
	}
	t.Run("a name is a hub's matter where there is one", func(t *testing.T) {
		to, _ := load(t, strings.Replace(terrace, "name: Chilli\n", "name: Chillies\n", 1))
		got := Changes(was, to)
		require.NotEmpty(t, got)
		assert.Equal(t, strings.Contains(terrace, broker), got[0].Restart)
		alone, to := *was, func() *garden.Garden { c := *to; c.Broker = garden.Broker{}; return &c }()
		alone.Broker = garden.Broker{}
		for _, c := range Changes(&alone, to) {
			assert.False(t, c.Restart, c.Path)
		}
	})
	t.Run("pots that come, go or change places", func(t *testing.T) {
		fewer, more, moved := *was, *was, *was
		fewer.Pots = was.Pots[1:]
		more.Pots = append(append([]garden.Pot{}, was.Pots...), garden.Pot{ID: "new"})
		moved.Pots = append(append([]garden.Pot{}, was.Pots[1:]...), was.Pots[0])
		assert.Equal(t, []Change{{"pots." + string(was.Pots[0].ID), "removed", true}}, Changes(was, &fewer))
		assert.Equal(t, []Change{{"pots.new", "added", true}}, Changes(was, &more))
		got := Changes(was, &moved)
		require.NotEmpty(t, got)
		for _, c := range got {
			assert.Equal(t, "moved", c.How)
			assert.True(t, c.Restart)
		}
	})
	t.Run("mixes and products may come and go", func(t *testing.T) {
		more := *was
		more.Mixes = append([]garden.Mix{{ID: "third"}}, was.Mixes...)
		more.Products = nil
		got := Changes(was, &more)
		require.NotEmpty(t, got)
		for _, c := range got {
			assert.False(t, c.Restart, c.Path)
		}
		assert.Equal(t, "added", got[0].How)
		assert.Equal(t, "removed", got[len(got)-1].How)
	})
	t.Run("how alarms reach people", func(t *testing.T) {
		to, src := load(t, terrace+"\nalarms:\n  quiet-hours: [22:00-07:00]\n  webhooks: [{ post-to: https://hub.test/x }]\n")
		got := Changes(was, to)
		var paths []string
		for _, c := range got {
			assert.False(t, c.Restart, c.Path)
			assert.NotContains(t, src.LocateChange(c), ":1:1:", "its own place")
			paths = append(paths, c.Path)
		}
		assert.ElementsMatch(t, []string{"alarms.quiet-hours", "alarms.webhooks"}, paths)
	})
	t.Run("what nobody thought of takes a restart", func(t *testing.T) {
		to := *was
		to.Hardware.I2CBus = "/dev/i2c-9"
		to.JournalFile = "elsewhere.db"
		to.Supply.MeterPulsesPerL = garden.Known(450)
		to.Supply.Pump.Fitted = true
		to.Calling.Lamp.Wired = true
		got := Changes(was, &to)
		var paths []string
		for _, c := range got {
			assert.True(t, c.Restart, c.Path)
			paths = append(paths, c.Path)
		}
		assert.ElementsMatch(t, []string{"hardware", "journal", "supply.meter", "supply.pump", "alarms.lamp"}, paths)
	})
	t.Run("another calibration file is a change of the mix", func(t *testing.T) {
		// The garden file itself stays the same.
		to, _ := load(t, terrace)
		to.Mixes[0].Calibration.OffsetWater = 0.02
		assert.Equal(t, []Change{{"mixes." + string(to.Mixes[0].ID), "changed", false}}, Changes(was, to))
	})
}

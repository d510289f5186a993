package page

import (
	"net/http/httptest"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus/testutil/promlint"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/cmd/gateway/internal/season"
	"fabricpot/control/garden"
)

func TestBusesInWords(t *testing.T) {
	s := newSite(t, nil)
	assert.Contains(t, s.get("/health").Body.String(), "No probe is wired to a converter here.")
	st := *s.gate.status
	at := st.At.Add(-100 * time.Minute)
	took := 0.0084
	st.Converters = []runner.ConverterStatus{
		{Bus: "/dev/i2c-1", Address: 0x48, Answers: true, Since: &at, Conversions: 1000, Failed: 20, ReadS: &took, Probes: []garden.ProbeID{"chilli-middle"}},
		{Bus: "/dev/i2c-1", Address: 0x49, Since: &at, Conversions: 90000, Failed: 6, Error: "remote i/o error"},
		{Bus: "/dev/i2c-3", Address: 0x48, Since: &at, Error: "cable <off>"},
		{Bus: "/dev/i2c-4", Address: 0x48},
	}
	s.gate.status = &st
	body := s.get("/health").Body.String()
	for _, words := range []string{
		"Bus /dev/i2c-1: 1 of 2 converters answer", "answers, since 06:20", "2.0" + apart + "% (20 of 1000)", "8.4" + apart + "ms", "0x48 reads chilli-middle",
		"Readings go on, but too many fail", "no answer since 06:20", "0.007" + apart + "% (6 of 90000)", "remote i/o error", "Its pots go on by their water balance",
		"Bus /dev/i2c-3: 0 of 1 converters answer", "Nothing answers on this bus", "cable &lt;off&gt;", "not asked yet",
	} {
		assert.Contains(t, body, words)
	}
	assert.Equal(t, 1, strings.Count(body, "Nothing answers on this bus"), "one that was not asked yet is not dead")
}

// TestConverterGone: a chip that is pulled from the bench's bus shows on the
// page and in the metrics, and shows again when it is back.
func TestConverterGone(t *testing.T) {
	r := newRig(t, 2*time.Hour, 1, nil)
	read := func(path string) string {
		w := httptest.NewRecorder()
		q := httptest.NewRequest("GET", path, nil)
		q.Host = "localhost"
		r.page.ServeHTTP(w, q)
		require.Equal(t, 200, w.Code)
		return w.Body.String()
	}
	value := func(text, name, labels string) float64 {
		m := regexp.MustCompile(`(?m)^` + regexp.QuoteMeta(name+"{"+labels) + `.*\} (\S+)$`).FindStringSubmatch(text)
		require.NotNil(t, m, "%s{%s", name, labels)
		v, err := strconv.ParseFloat(m[1], 64)
		require.NoError(t, err)
		return v
	}
	const chip = `address="0x48",bus="bench"`
	assert.Contains(t, read("/health"), "answers, since 05:00")
	before := read("/metrics")
	assert.Equal(t, 1.0, value(before, "fabricpot_converter_up", chip))
	assert.Positive(t, value(before, "fabricpot_converter_conversions_total", chip))
	assert.Zero(t, value(before, "fabricpot_converter_conversion_failures_total", chip))
	assert.Positive(t, value(before, "fabricpot_converter_read_seconds", chip))

	r.with(func(b *season.Bench) { b.Wires.BusNamed("").Chip(0x48).SetAbsent(true) })
	r.live(20 * time.Minute)
	page := read("/health")
	assert.Contains(t, page, "no answer since 07:0")
	assert.Contains(t, page, "Its pots go on by their water balance")
	gone := read("/metrics")
	assert.Equal(t, 0.0, value(gone, "fabricpot_converter_up", chip))
	assert.Equal(t, 1.0, value(gone, "fabricpot_converter_up", `address="0x49",bus="bench"`), "its neighbour goes on")
	assert.Positive(t, value(gone, "fabricpot_converter_conversion_failures_total", chip))

	r.with(func(b *season.Bench) { b.Wires.BusNamed("").Chip(0x48).SetAbsent(false) })
	r.live(20 * time.Minute)
	assert.NotContains(t, read("/health"), "no answer since")
	assert.Equal(t, 1.0, value(read("/metrics"), "fabricpot_converter_up", chip))
}

// TestMetricsOfABench: what a collector gets of a garden that runs, after a
// morning with water: every metric that the bench can fill has a value.
func TestMetricsOfABench(t *testing.T) {
	r := newRig(t, 30*time.Hour, 1, nil)
	w := httptest.NewRecorder()
	q := httptest.NewRequest("GET", "/metrics", nil)
	q.Host = "localhost"
	r.page.ServeHTTP(w, q)
	require.Equal(t, 200, w.Code)
	text := w.Body.String()
	checkBenchMetrics(t, text, 30*time.Hour)
	problems, err := promlint.New(strings.NewReader(text)).Lint()
	require.NoError(t, err)
	assert.Empty(t, problems)
}

// checkBenchMetrics: one value for each probe or line and in its bounds, on a
// bench that has lived so long.
func checkBenchMetrics(t *testing.T, text string, lived time.Duration) {
	t.Helper()
	for _, m := range []struct {
		name      string
		least     int
		over, max float64
	}{
		// The converter's datasheet: 860 conversions a second at its fastest, its
		// clock 10 % off at most; the bus takes some of a millisecond on top.
		{"fabricpot_probe_read_seconds", 7, 1 / 860.0 / 1.1, 2 / 860.0},
		{"fabricpot_line_last_pulse_seconds", 1, 1, 7200},
		{"fabricpot_line_last_pulse_age_seconds", 1, -1, lived.Seconds()},
		{"fabricpot_probe_age_seconds", 7, -1, 120},
		{"fabricpot_zone_water_ratio", 7, 0.05, 1},
	} {
		found := regexp.MustCompile(`(?m)^`+m.name+`\{[^}]*\} (\S+)$`).FindAllStringSubmatch(text, -1)
		assert.GreaterOrEqual(t, len(found), m.least, m.name)
		for _, f := range found {
			v, err := strconv.ParseFloat(f[1], 64)
			require.NoError(t, err)
			assert.Greater(t, v, m.over, f[0])
			assert.LessOrEqual(t, v, m.max, f[0])
		}
	}
}

package expose

import (
	"compress/gzip"
	"io"
	"math"
	"net/http"
	"net/http/httptest"
	"regexp"
	"runtime"
	"runtime/debug"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"
	"github.com/prometheus/client_golang/prometheus/testutil/promlint"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// theirs is what the format's own client library answers.
func theirs(t *testing.T, cs ...prometheus.Collector) (string, http.Header) {
	t.Helper()
	reg := prometheus.NewRegistry()
	for _, c := range cs {
		require.NoError(t, reg.Register(c))
	}
	w := httptest.NewRecorder()
	promhttp.HandlerFor(reg, promhttp.HandlerOpts{}).ServeHTTP(w, httptest.NewRequest("GET", "/metrics", nil))
	return w.Body.String(), w.Header()
}

// some are the same figures for both.
type some struct{}

var someDescs = []*Desc{
	{"a_pot_litres", "Water, \"all\" of it: back\\slash\nand a line.", Gauge, []string{"zone", "about"}},
	{"a_rounds_total", "Rounds.", Counter, nil},
	{"a_pot", "Sorted before the other.", Gauge, []string{"b", "a"}},
}

var someFigures = []struct {
	of     int
	v      float64
	values []string
}{
	{0, 12.25, []string{"chilli", ""}}, {0, math.NaN(), []string{"aubergine", "x"}}, {0, math.Inf(1), []string{"aubergine", "w"}},
	{0, math.Inf(-1), []string{`q"uo\te`, "line\nbreak"}}, {0, 1e21, []string{"πότι", "y"}}, {0, 1e-7, []string{"z", "y"}},
	{1, 1234567890, nil},
	{2, 0, []string{"1", "2"}}, {2, 1, []string{"2", "1"}}, {2, -1, []string{"1", "1"}}, {2, 0.1, []string{"10", "1"}}, {2, 1e6, []string{"9", "1"}}, {2, 123456789.125, []string{"", "1"}},
}

func (some) Describe(chan<- *prometheus.Desc) {}

func (some) Collect(ch chan<- prometheus.Metric) {
	for _, f := range someFigures {
		d, kind := someDescs[f.of], prometheus.GaugeValue
		if d.Kind == Counter {
			kind = prometheus.CounterValue
		}
		ch <- prometheus.MustNewConstMetric(prometheus.NewDesc(d.Name, d.Help, d.Labels, nil), kind, f.v, f.values...)
	}
	ch <- prometheus.MustNewConstSummary(prometheus.NewDesc("a_pause_seconds", "Pauses.", nil, nil), 7, 3.5, map[float64]float64{0: 0.1, 0.25: 0.2, 1: 3})
}

func collect(f *Figures) {
	for _, x := range someFigures {
		f.Add(someDescs[x.of], x.v, x.values...)
	}
	f.AddSummary(&Desc{Name: "a_pause_seconds", Help: "Pauses.", Kind: Summary}, []float64{0, 0.25, 1}, []float64{0.1, 0.2, 3}, 3.5, 7)
}

// TestSameAsTheFormatsOwnLibrary: byte for byte.
func TestSameAsTheFormatsOwnLibrary(t *testing.T) {
	want, head := theirs(t, some{})
	w := httptest.NewRecorder()
	Handler(collect, 1, time.Minute).ServeHTTP(w, httptest.NewRequest("GET", "/metrics", nil))
	assert.Equal(t, want, w.Body.String())
	assert.Equal(t, head.Get("Content-Type"), w.Header().Get("Content-Type"))
}

// TestOfTheProgramItself: what a dashboard of anyone's asks for stays, under the
// same names, in the same words and of the same kind.
func TestOfTheProgramItself(t *testing.T) {
	want, _ := theirs(t, collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	var f Figures
	Runtime(&f)
	Process(&f)
	b, err := f.Text()
	require.NoError(t, err)
	value := regexp.MustCompile(`(?m)^([^#].*) \S+$`)
	names := func(s string) string { return value.ReplaceAllString(s, "$1") }
	assert.Equal(t, names(want), names(string(b)))
	for _, name := range []string{"go_info", "go_gc_gogc_percent", "go_gc_gomemlimit_bytes", "go_sched_gomaxprocs_threads", "process_max_fds", "process_start_time_seconds", "process_virtual_memory_max_bytes"} {
		line := regexp.MustCompile(`(?m)^` + name + `[ {].*$`)
		assert.NotEmpty(t, line.FindString(want), name)
		assert.Equal(t, line.FindString(want), line.FindString(string(b)))
	}
	problems, err := promlint.New(strings.NewReader(string(b))).Lint()
	require.NoError(t, err)
	assert.Empty(t, problems)
}

// TestRuntimeSums holds the sums of the runtime's figures against theirs, in a
// heap so large that what the asking itself takes is small beside it.
func TestRuntimeSums(t *testing.T) {
	defer debug.SetGCPercent(debug.SetGCPercent(-1))
	ballast := make([][]byte, 1<<14)
	for i := range ballast {
		ballast[i] = make([]byte, 4<<10)
	}
	values := func(text string) map[string]float64 {
		out := map[string]float64{}
		for l := range strings.Lines(text) {
			if name, v, ok := strings.Cut(strings.TrimSpace(l), " "); ok && strings.HasPrefix(name, "go_memstats_") {
				x, err := strconv.ParseFloat(v, 64)
				require.NoError(t, err)
				out[name] = x
			}
		}
		return out
	}
	text, _ := theirs(t, collectors.NewGoCollector())
	want := values(text)
	var f Figures
	Runtime(&f)
	b, err := f.Text()
	require.NoError(t, err)
	got := values(string(b))
	require.Len(t, got, 22)
	text, _ = theirs(t, collectors.NewGoCollector())
	after := values(text) // the runtime works on meanwhile
	for name, v := range want {
		slack := 4096.0
		if strings.Contains(name, "idle") || strings.Contains(name, "released") {
			slack = 2 << 20
		}
		least, most := min(v, after[name]), max(v, after[name])
		assert.GreaterOrEqual(t, got[name], 0.95*least-slack, name)
		assert.LessOrEqual(t, got[name], 1.05*most+slack, name)
	}
	runtime.KeepAlive(ballast)
}

func TestHandler(t *testing.T) {
	ask := func(h http.Handler, target, accept string) *httptest.ResponseRecorder {
		r := httptest.NewRequest("GET", target, nil)
		if accept != "" {
			r.Header.Set("Accept-Encoding", accept)
		}
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		return w
	}
	h := Handler(collect, 1, time.Minute)
	plain := ask(h, "/metrics", "").Body.String()
	for accept, packed := range map[string]bool{"gzip": true, "deflate, GZIP;q=0.5": true, "gzip;q=0": false, "gzip; q=0.0, br": false, "br": false, "identity": false, "gzip;q=x": false} {
		w := ask(h, "/metrics", accept)
		require.Equal(t, packed, w.Header().Get("Content-Encoding") == "gzip", accept)
		body := io.Reader(w.Body)
		if packed {
			z, err := gzip.NewReader(w.Body)
			require.NoError(t, err)
			body = z
		}
		b, err := io.ReadAll(body)
		require.NoError(t, err)
		assert.Equal(t, plain, string(b), accept)
	}
	one := ask(h, "/metrics?name[]=a_rounds_total", "").Body.String()
	assert.Equal(t, "# HELP a_rounds_total Rounds.\n# TYPE a_rounds_total counter\na_rounds_total 1.23456789e+09\n", one)

	twice := ask(Handler(func(f *Figures) { collect(f); f.Add(someDescs[1], 2) }, 1, time.Minute), "/", "")
	assert.Equal(t, 500, twice.Code)
	assert.Contains(t, twice.Body.String(), "a_rounds_total[] is there twice")
	few := ask(Handler(func(f *Figures) { f.Add(someDescs[0], 2, "chilli") }, 1, time.Minute), "/", "")
	assert.Equal(t, 500, few.Code)
	assert.Contains(t, few.Body.String(), "a_pot_litres has 2 labels, not 1")

	held, enter := make(chan struct{}), make(chan struct{})
	slow := Handler(func(*Figures) { enter <- struct{}{}; <-held }, 1, time.Minute)
	done := make(chan int)
	go func() { done <- ask(slow, "/", "").Code }()
	<-enter
	assert.Equal(t, 503, ask(slow, "/", "").Code, "one at a time")
	close(held)
	assert.Equal(t, 200, <-done)
	over := make(chan struct{})
	defer close(over)
	never := func(*Figures) {
		select {
		case <-over:
		case <-time.After(time.Minute):
		}
	}
	assert.Equal(t, 503, ask(Handler(never, 1, 10*time.Millisecond), "/", "").Code, "no longer than patience")
}

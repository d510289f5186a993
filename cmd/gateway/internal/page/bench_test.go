package page

import (
	"context"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"sort"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"fabricpot/cmd/gateway/internal/config"
	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/control/garden"
	"fabricpot/testdata"
)

// seasonJournal writes 150 days of one zone, a sample a minute and two pulses a
// day, as a gateway does. SYNTHETIC: a saw of water content.
func seasonJournal(t testing.TB, zone garden.ZoneID, line garden.LineID, to time.Time) *journal.Journal {
	t.Helper()
	j, _, err := journal.Open(filepath.Join(t.TempDir(), "season.db"))
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, j.Close()) })
	const days = 150
	var b journal.Batch
	for h := range days * 24 * 12 {
		rain := garden.Measured{}
		if h/12%60 == 0 {
			rain = garden.Known(0.2) // an hour of rain every two and a half days
		}
		b.Skies = append(b.Skies, journal.SkySample{At: garden.Moment{Wall: to.Add(time.Duration(h-days*24*12) * 5 * time.Minute), Synced: true}, RainMM: rain})
	}
	id := garden.OrderID(0)
	for m := range days * 24 * 60 {
		at := garden.Moment{Mono: time.Duration(m) * time.Minute, Wall: to.Add(time.Duration(m-days*24*60) * time.Minute), Synced: true}
		b.Zones = append(b.Zones, journal.ZoneSample{Zone: zone, At: at, Water: garden.Known(0.5 - 0.1*float64(m%2000)/2000), Refill: garden.Known(0.4), Capacity: garden.Known(0.5)})
		if m%720 == 0 {
			id++
			require.NoError(t, j.AddDecision(journal.Decision{At: at, Zone: zone, Line: line, Order: id, Text: "under its refill point"}))
			require.NoError(t, j.Settle(garden.Delivery{Order: id, Line: line, Zone: zone, Litres: 2, Open: 20 * time.Minute, OpenedAt: at, ClosedAt: at.Add(20 * time.Minute), End: garden.Complete}))
		}
		if len(b.Zones) == 20000 || m == days*24*60-1 {
			require.NoError(t, j.AddSamples(b))
			b.Zones, b.Skies = b.Zones[:0], b.Skies[:0]
		}
	}
	return j
}

// BenchmarkPages compares pages with an empty handler on the same kind of
// server: what a page costs as a multiple of nothing at all.
func BenchmarkPages(b *testing.B) {
	g, _, err := config.Load("garden12.yaml", testdata.Garden12)
	require.NoError(b, err)
	st := stillStatus(g)
	j := seasonJournal(b, "p02", "p02", st.At)
	s := newSite(b, func(o *Options) { o.Garden, o.History = g, j })
	s.gate.status = st
	empty := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) {}))
	defer empty.Close()
	served := s.page
	page := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { served.ServeHTTP(w, r) }))
	defer page.Close()
	once := func(url string) time.Duration {
		begin := time.Now()
		res, err := http.Get(url)
		require.NoError(b, err)
		_, _ = io.Copy(io.Discard, res.Body)
		res.Body.Close()
		require.Equal(b, 200, res.StatusCode, url)
		return time.Since(begin)
	}
	middle := func(times []time.Duration) time.Duration {
		sort.Slice(times, func(i, k int) bool { return times[i] < times[k] })
		return times[len(times)/2]
	}
	for range 50 {
		once(empty.URL)
	}
	for _, c := range []struct{ name, path string }{
		{"terrace", "/"}, {"pot-day", "/pot/p02"}, {"pot-week", "/pot/p02?span=week"}, {"pot-season", "/pot/p02?span=season"}, {"chart-season", "/pot/p02/chart.svg?span=season"},
	} {
		b.Run(c.name, func(b *testing.B) {
			const n = 41
			var very time.Duration
			var nothing, first, next []time.Duration
			for b.Loop() {
				nothing, first, next = nil, nil, nil
				// Turn by turn, so that whatever else the machine does falls on all.
				for i := range n {
					fresh, err := New(s.page.o)
					require.NoError(b, err)
					served = fresh // it has kept nothing of the past yet
					nothing = append(nothing, once(empty.URL))
					first = append(first, once(page.URL+c.path))
					next = append(next, once(page.URL+c.path))
					if i == 0 && very == 0 {
						very = first[0]
					}
				}
			}
			of := float64(middle(nothing))
			b.ReportMetric(float64(very)/of, "very-first/empty")
			b.ReportMetric(float64(middle(first))/of, "first/empty")
			b.ReportMetric(float64(middle(next))/of, "next/empty")
			b.ReportMetric(of/1000, "empty-µs")
		})
	}
}

// BenchmarkViewers: what a round of the control loop costs while nobody watches
// and while 50 do.
func BenchmarkViewers(b *testing.B) {
	r := newRig(b, time.Hour, 1, nil)
	srv := httptest.NewServer(r.page)
	defer srv.Close()
	for _, viewers := range []int{0, 50} {
		b.Run(fmt.Sprint(viewers), func(b *testing.B) {
			ctx, cancel := context.WithCancel(context.Background())
			defer cancel()
			for range viewers {
				req, err := http.NewRequestWithContext(ctx, "GET", srv.URL+"/live", nil)
				require.NoError(b, err)
				res, err := http.DefaultClient.Do(req)
				require.NoError(b, err)
				defer res.Body.Close()
				go func() {
					buf := make([]byte, 4096)
					for {
						if _, err := res.Body.Read(buf); err != nil {
							return
						}
						if page, err := http.Get(srv.URL + "/"); err == nil {
							_, _ = io.Copy(io.Discard, page.Body)
							page.Body.Close()
						}
					}
				}()
			}
			rounds := 0
			for b.Loop() {
				r.live(time.Hour)
				rounds += 60
			}
			b.ReportMetric(float64(b.Elapsed().Microseconds())/float64(rounds), "µs/round")
		})
	}
}

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
	id := garden.OrderID(0)
	for m := range days * 24 * 60 {
		at := garden.Moment{Mono: time.Duration(m) * time.Minute, Wall: to.Add(time.Duration(m-days*24*60) * time.Minute), Synced: true}
		b.Zones = append(b.Zones, journal.ZoneSample{Zone: zone, At: at, Water: garden.Known(0.5 - 0.1*float64(m%2000)/2000), Refill: garden.Known(0.4), Capacity: garden.Known(0.5)})
		if m%720 == 0 {
			id++
			require.NoError(t, j.Settle(garden.Delivery{Order: id, Line: line, Zone: zone, Litres: 2, Open: 20 * time.Minute, OpenedAt: at, ClosedAt: at.Add(20 * time.Minute), End: garden.Complete}))
		}
		if len(b.Zones) == 20000 || m == days*24*60-1 {
			require.NoError(t, j.AddSamples(b))
			b.Zones = b.Zones[:0]
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
	page := httptest.NewServer(s.page)
	defer page.Close()
	median := func(url string, n int) time.Duration {
		times := make([]time.Duration, n)
		for i := range times {
			begin := time.Now()
			res, err := http.Get(url)
			require.NoError(b, err)
			_, _ = io.Copy(io.Discard, res.Body)
			res.Body.Close()
			require.Equal(b, 200, res.StatusCode, url)
			times[i] = time.Since(begin)
		}
		sort.Slice(times, func(i, k int) bool { return times[i] < times[k] })
		return times[n/2]
	}
	median(empty.URL, 50)
	nothing := median(empty.URL, 500)
	for _, c := range []struct{ name, path string }{
		{"terrace", "/"}, {"pot-day", "/pot/p02"}, {"pot-season", "/pot/p02?span=season"}, {"chart-season", "/pot/p02/chart.svg?span=season"},
	} {
		b.Run(c.name, func(b *testing.B) {
			begin := time.Now()
			median(page.URL+c.path, 1)
			first := time.Since(begin)
			var m time.Duration
			for b.Loop() {
				m = median(page.URL+c.path, 51)
			}
			b.ReportMetric(float64(first)/float64(nothing), "first/empty")
			b.ReportMetric(float64(m)/float64(nothing), "next/empty")
			b.ReportMetric(float64(nothing.Microseconds()), "empty-µs")
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

package page

import (
	"context"
	"errors"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"fabricpot/cmd/gateway/internal/config"
	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/feeding"
	"fabricpot/control/garden"
	"fabricpot/control/task"
	"fabricpot/testdata"
)

// fake is a Gateway that stands still and remembers what it was asked.
type fake struct {
	mu     sync.Mutex
	status *runner.Status
	asks   []garden.Ask
	shut   map[garden.ZoneID]time.Duration
	closed int
	plants []garden.PlantEvent
	seen   []runner.Observation
	fail   error
}

func (f *fake) Plant(_ context.Context, e garden.PlantEvent, _ string) (bool, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.fail == nil {
		f.plants = append(f.plants, e)
	}
	return false, f.fail
}

func (f *fake) Note(_ context.Context, o runner.Observation, _ string) (feeding.Noted, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.fail != nil {
		return feeding.Noted{}, f.fail
	}
	f.seen = append(f.seen, o)
	a, err := task.Respond(task.Observation{Zone: o.Zone, Name: "Chilli", Sign: task.Sign(o.Sign), At: f.status.At}, task.Facts{})
	return feeding.Noted{Answer: a, Plan: []task.PlanStep{{Day: 0, ToDay: 1, Words: "soak it"}}}, err
}

func (f *fake) Status() *runner.Status {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.status
}

func (f *fake) CloseAll(context.Context, string) (runner.CloseReport, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.closed++
	return runner.CloseReport{Lines: 5, Closed: 4, Unconfirmed: []garden.LineID{"bean"}}, f.fail
}

func (f *fake) Automatic(_ context.Context, on bool, who string) error {
	kind := garden.AskAutoOff
	if on {
		kind = garden.AskAutoOn
	}
	return f.Ask(context.Background(), garden.Ask{Kind: kind, Who: who})
}

func (f *fake) Ask(_ context.Context, a garden.Ask) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.fail == nil {
		f.asks = append(f.asks, a)
	}
	return f.fail
}

func (f *fake) KeepShut(_ context.Context, z garden.ZoneID, d time.Duration, _ string) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.shut == nil {
		f.shut = map[garden.ZoneID]time.Duration{}
	}
	if f.fail == nil {
		f.shut[z] = d
	}
	return f.fail
}

func (f *fake) asked() []garden.Ask {
	f.mu.Lock()
	defer f.mu.Unlock()
	return append([]garden.Ask(nil), f.asks...)
}

// untouched tells that nothing at all was asked of the gateway.
func (f *fake) untouched() bool {
	f.mu.Lock()
	defer f.mu.Unlock()
	return len(f.asks) == 0 && len(f.shut) == 0 && f.closed == 0 && len(f.plants) == 0 && len(f.seen) == 0
}

// notebook is a History with nothing in it that keeps notes in memory.
type notebook struct{ notes []journal.Note }

func (*notebook) ZoneCourse(garden.ZoneID, time.Time, time.Time, int) ([]journal.Point, error) {
	return nil, nil
}
func (*notebook) Rain(time.Time, time.Time, int) ([]journal.RainSpan, error) { return nil, nil }
func (*notebook) Given(garden.LineID, time.Time, time.Time, int) ([]journal.GivenSpan, error) {
	return nil, nil
}
func (*notebook) GivenByHand(garden.ZoneID, time.Time, time.Time, int) ([]journal.GivenSpan, error) {
	return nil, nil
}
func (*notebook) DecisionsOf(garden.ZoneID, time.Time, int) ([]journal.Decision, error) {
	return nil, errors.New("card is gone")
}
func (*notebook) Feeds(garden.ZoneID, time.Time) ([]journal.Feed, error) { return nil, nil }
func (n *notebook) NotesOf(z garden.ZoneID, _ time.Time, most int) (out []journal.Note, _ error) {
	for i := len(n.notes) - 1; i >= 0 && len(out) < most; i-- {
		if n.notes[i].Zone == z {
			out = append(out, n.notes[i])
		}
	}
	return out, nil
}
func (n *notebook) AddNote(x journal.Note) error { n.notes = append(n.notes, x); return nil }
func (*notebook) Path() string                   { return "journal.db" }

// stillStatus is a status of a garden: each zone half way to its refill point,
// closed and confirmed.
func stillStatus(g *garden.Garden) *runner.Status {
	at := time.Date(2026, 7, 3, 8, 0, 0, 0, g.Site.Zone)
	num := func(v float64) *float64 { return &v }
	st := &runner.Status{At: at, Synced: true, Site: g.Site.Name, Hardware: "bench", Automatic: true, Ticks: 77,
		Weather: runner.WeatherLine{AirC: num(24), TMinC: num(20), TMaxC: num(33), RainMM: num(0)}}
	g.EachZone(func(p *garden.Pot, z *garden.Zone) {
		v := z.VolumeL(p)
		zs := runner.ZoneStatus{Zone: z.ID, Name: z.Name, Pot: p.ID, State: "resting", Water: num(0.45), HeldL: num(0.45 * v), SD: 0.01,
			VolumeL: v, CapacityL: 0.5 * v, RefillL: 0.4 * v, ToRefillL: num(0.05 * v), HoursLeft: num(9), HoursToDry: num(40),
			LossTodayL: 0.05 * v, Capacity: 0.5, RefillPoint: 0.4, Trusted: true, HandTended: z.Line == "", Line: z.Line,
			Why: "holds 39.0 % water, under its refill point of 40.0 %: 3.0 L to refill"}
		for _, pr := range z.Probes {
			zs.Probes = append(zs.Probes, runner.ProbeStatus{Probe: pr.ID, DepthCM: pr.DepthCM, Volts: 1.7, Water: num(0.4), Quality: "good", TempC: num(22)})
		}
		st.Zones = append(st.Zones, zs)
	})
	for i := range g.Lines {
		st.Lines = append(st.Lines, runner.LineStatus{Line: g.Lines[i].ID, Name: g.Lines[i].Name, Confirmed: true, TodayL: 2, CapL: 30, FlowLPH: g.Lines[i].FlowLPH()})
	}
	return st
}

// site is a page on a fake gateway.
type site struct {
	t    testing.TB
	gate *fake
	page *Page
	now  time.Time
	// cookies are the browser's.
	cookies map[string]string
	host    string
	remote  string
}

func newSite(t testing.TB, change func(*Options)) *site {
	t.Helper()
	g, _, err := config.Load("terrace.yaml", testdata.Terrace)
	require.NoError(t, err)
	s := &site{t: t, gate: &fake{status: stillStatus(g)}, cookies: map[string]string{}, host: "localhost:8077", remote: "127.0.0.1:40000",
		now: time.Date(2026, 7, 3, 8, 0, 0, 0, time.UTC)}
	o := Options{Garden: g, Gateway: s.gate, History: &notebook{}, Plants: s.gate, Observer: s.gate, Now: func() time.Time { return s.now }}
	if change != nil {
		change(&o)
	}
	s.page, err = New(o)
	require.NoError(t, err)
	return s
}

func (s *site) send(r *http.Request) *httptest.ResponseRecorder {
	r.Host, r.RemoteAddr = s.host, s.remote
	for n, v := range s.cookies {
		r.AddCookie(&http.Cookie{Name: n, Value: v})
	}
	w := httptest.NewRecorder()
	s.page.ServeHTTP(w, r)
	for _, c := range w.Result().Cookies() {
		if c.MaxAge < 0 {
			delete(s.cookies, c.Name)
		} else {
			s.cookies[c.Name] = c.Value
		}
	}
	return w
}

func (s *site) get(path string) *httptest.ResponseRecorder {
	return s.send(httptest.NewRequest("GET", path, nil))
}

func (s *site) post(path string, pairs ...string) *httptest.ResponseRecorder {
	form := url.Values{}
	for i := 0; i+1 < len(pairs); i += 2 {
		form.Set(pairs[i], pairs[i+1])
	}
	r := httptest.NewRequest("POST", path, strings.NewReader(form.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	return s.send(r)
}

// ticketFor is the ticket of the form that posts to action on a page.
func (s *site) ticketFor(path, action string) string {
	s.t.Helper()
	w := s.get(path)
	require.Equal(s.t, 200, w.Code, path)
	m := regexp.MustCompile(`(?s)<form method="post" action="` + regexp.QuoteMeta(action) + `"[^>]*>\s*<input type="hidden" name="ticket" value="([^"]+)"`).FindStringSubmatch(w.Body.String())
	require.NotNil(s.t, m, "no form to %s on %s", action, path)
	return m[1]
}

// newGet is a request with its query written by the library.
func newGet(path string, pairs ...string) *http.Request {
	q := url.Values{}
	for i := 0; i+1 < len(pairs); i += 2 {
		q.Set(pairs[i], pairs[i+1])
	}
	return httptest.NewRequest("GET", path+"?"+q.Encode(), nil)
}

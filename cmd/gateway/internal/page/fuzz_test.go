package page

import (
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
)

// FuzzHandlers: whatever is sent, the page answers, with nothing injected, and
// without a valid ticket nothing but a close ever reaches the gateway.
func FuzzHandlers(f *testing.F) {
	for _, seed := range [][4]string{
		{"GET", "/", "", ""}, {"GET", "/pot/chilli", "span=week", ""}, {"GET", "/pot/chilli/water", "amount=2&unit=L", ""},
		{"POST", "/pot/chilli/water", "", "ticket=x&litres=2"}, {"POST", "/pot/chilli/shut", "", "for=until&until=2026-07-04T08:00"},
		{"POST", "/pot/chilli/note", "", "kind=seen&text=<b>&value=1"}, {"POST", "/settings", "", "volume=gal&degrees=F&tone=dark"},
		{"GET", "/pot/chilli/plant", "go=yes&event=planted&count=1e9&on=9999-12-31", ""}, {"POST", "/pot/chilli/plant", "", "event=topped-up&litres=NaN&unit=L"},
		{"POST", "/health/automatic", "", "on=no"}, {"GET", "/pot/%00", "", ""}, {"GET", "/pot/chilli/chart.svg", "span=day&ink=dark", ""},
		{"POST", "/rounds/done", "", "task=a&again=yes"}, {"PUT", "/pot/../health", "x=%zz", ""}, {"POST", "/sign-in", "", "password=x&next=//y"},
	} {
		f.Add(seed[0], seed[1], seed[2], seed[3])
	}
	s := newSite(f, nil)
	f.Fuzz(func(t *testing.T, method, path, query, body string) {
		if !strings.HasPrefix(path, "/") || path == "/live" || len(method) > 20 {
			t.Skip()
		}
		u := &url.URL{Path: path, RawQuery: query}
		r, err := http.NewRequest(method, "http://localhost"+u.EscapedPath(), strings.NewReader(body))
		if err != nil {
			t.Skip()
		}
		r.URL.RawQuery = query
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.RemoteAddr = "127.0.0.1:1"
		w := httptest.NewRecorder()
		s.page.ServeHTTP(w, r)
		if w.Code < 200 || w.Code > 599 || w.Code == 500 {
			t.Fatalf("%s %q answered %d", method, path, w.Code)
		}
		if len(s.gate.asked()) > 0 || len(s.gate.shut) > 0 {
			t.Fatalf("%s %q asked the gateway without a ticket", method, path)
		}
		if h := w.Header().Get("Content-Security-Policy"); h == "" {
			t.Fatal("no content policy")
		}
	})
}

// FuzzAmount: an amount is never negative, huge or no number.
func FuzzAmount(f *testing.F) {
	for _, s := range []string{"2", "2,5", "-1", "1e308", "NaN", "", "0x1p-2", " 3 ", "3 L", "1.5 gal"} {
		f.Add(s, "L")
		f.Add(s, "gal")
	}
	f.Fuzz(func(t *testing.T, value, unit string) {
		if l, ok := amount(value, unit, 40); ok && !(l >= 0.01 && l <= 40.001) {
			t.Fatalf("%q %q gave %v L", value, unit, l)
		}
	})
}

// FuzzTicket: only what was issued is ever taken.
func FuzzTicket(f *testing.F) {
	f.Add("", "water chilli 2.000")
	f.Add(strings.Repeat("A", 54), "x")
	s := newSite(f, nil)
	f.Fuzz(func(t *testing.T, ticket, purpose string) {
		if s.page.tickets.spend(ticket, "", purpose) == nil {
			t.Fatalf("took %q for %q", ticket, purpose)
		}
	})
}

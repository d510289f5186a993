package page

import (
	"errors"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/cmd/gateway/internal/report"
	"fabricpot/control/garden"
)

func TestSeasonReport(t *testing.T) {
	from := time.Date(2026, 5, 1, 0, 0, 0, 0, time.UTC)
	book := &report.Book{Site: "A <b>terrace</b>", From: from, To: from.AddDate(0, 0, 30), Strangers: []garden.ZoneID{"leek"},
		Zones: []report.Zone{{ID: "p", Name: `Pot "<script>`, VolumeL: 40, Capacity: 0.5, Refill: 0.4, Advice: []report.Advice{{Change: "Keep it.", Figure: "0 h"}},
			Did: []report.Deed{{At: from, Words: "noted: <img src=x>"}}}}}
	var fail error
	s := newSite(t, func(o *Options) {
		o.Season = func(time.Time) (*report.Book, error) { return book, fail }
	})
	t.Run("under a policy of its own", func(t *testing.T) {
		w := s.get("/season")
		require.Equal(t, http.StatusOK, w.Code)
		policy := w.Header().Get("Content-Security-Policy")
		assert.Contains(t, policy, "default-src 'none'; style-src 'sha256-")
		assert.NotContains(t, policy, "unsafe")
		assert.NotContains(t, policy, "script-src")
		assert.Contains(t, w.Body.String(), `<meta http-equiv="Content-Security-Policy"`)
	})
	t.Run("words of people stay words", func(t *testing.T) {
		body := s.get("/season").Body.String()
		assert.NotContains(t, body, "<script")
		assert.NotContains(t, body, "<b>")
		assert.NotContains(t, body, "<img src=x")
		assert.Contains(t, body, "samples of leek")
		assert.Equal(t, 1, strings.Count(body, "<img "))
	})
	t.Run("gallons where the browser wants them", func(t *testing.T) {
		book.Zones[0].Water.HandL, book.Zones[0].HandTended = 37.85412, true
		require.Equal(t, 303, s.post("/settings", "volume", "gal", "degrees", "F", "tone", "auto").Code)
		// NIST SP 811: a US gallon is 3.785412 L (from memory).
		assert.Contains(t, s.get("/season").Body.String(), "10"+apart+"gal")
	})
	t.Run("nothing written yet, and a card that is gone", func(t *testing.T) {
		fail = report.ErrNothing
		assert.Equal(t, http.StatusNotFound, s.get("/season").Code)
		fail = errors.New("card is gone")
		w := s.get("/season")
		assert.Equal(t, http.StatusServiceUnavailable, w.Code)
		assert.Contains(t, w.Body.String(), "card is gone")
	})
	t.Run("wrong method, and no journal", func(t *testing.T) {
		assert.Equal(t, http.StatusMethodNotAllowed, s.post("/season").Code)
		assert.Equal(t, http.StatusNotFound, newSite(t, nil).get("/season").Code)
	})
}

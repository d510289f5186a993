package page

import (
	"net/http"
	"net/http/httptest"
	"regexp"
	"testing"

	"fabricpot/cmd/gateway/internal/config"
	"fabricpot/testdata"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestRenew: the page shows the garden as it was read last, and who is signed in
// stays so.
func TestRenew(t *testing.T) {
	r := newRig(t, 0, 1, nil)
	g, _, err := config.Load("terrace.yaml", testdata.Terrace)
	require.NoError(t, err)
	get := func() string {
		w := httptest.NewRecorder()
		q := httptest.NewRequest(http.MethodGet, "/", nil)
		q.Host = "localhost:8077"
		q.RemoteAddr = "127.0.0.1:1234"
		r.page.ServeHTTP(w, q)
		require.Equal(t, http.StatusOK, w.Code, w.Body.String())
		return w.Body.String()
	}
	// Pots are drawn to one scale: a wider one makes all the others smaller.
	drawn := regexp.MustCompile(`class="drawn" viewBox="[^"]*"`)
	g.Pots[0].Shape.TopDiameterCM = 120
	before := drawn.FindString(get())
	require.NotEmpty(t, before)
	sessions := r.page.sessions
	require.NoError(t, r.page.Renew(g))
	wide := drawn.FindString(get())
	require.NotEmpty(t, wide)
	assert.NotEqual(t, before, wide)
	assert.Same(t, sessions, r.page.next.Load().sessions)
	require.NoError(t, r.page.Renew(r.garden))
	assert.Equal(t, before, drawn.FindString(get()), "and again")
}

package page

import (
	"encoding/json"
	"net/http/httptest"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control"
	"fabricpot/control/garden"
)

// A pot's page says what the tap's water left in it, and whether it is to be washed out.
func TestPotShowsSaltsOfTheTap(t *testing.T) {
	s := newSite(t, nil)
	assert.NotContains(t, s.get("/pot/chilli").Body.String(), tTapSalts, "no account is kept")
	v := &control.SaltView{MS: 1.34, WashAtMS: 3.4, CostPC: 8, Crop: "chilli", Through: time.Date(2026, 6, 28, 7, 0, 0, 0, time.UTC)}
	for i := range s.gate.status.Zones {
		if s.gate.status.Zones[i].Zone == "chilli" {
			s.gate.status.Zones[i].TapSalts = v
		}
	}
	body := func() string { return s.get("/pot/chilli").Body.String() }
	assert.Contains(t, body(), "<dt>Salts that cost harvest</dt><dd>1.3 mS/cm; washed out from 3.4 on (8 % of the chilli harvest); last washed through 28 June</dd>")
	assert.NotContains(t, s.get("/pot/chard").Body.String(), tTapSalts)
	v.MS, v.WashL = 3.44, 4
	assert.Contains(t, body(), "3.4 mS/cm; washed out from 3.4 on (8 % of the chilli harvest): 4.0 L are to drain; last")
	s.post("/settings", "volume", "gal", "degrees", "C", "tone", "auto")
	// NIST SP 811: a US gallon is 3.785412 L (from memory).
	assert.Contains(t, body(), "1.1 gal are to drain")
}

// From the loop to the page, the list of work and what a program reads: one account.
func TestSaltsOfTheTapReachPeople(t *testing.T) {
	r := newRig(t, 3*time.Hour, 1, nil)
	w := httptest.NewRecorder()
	NewAPI(r.desk).ServeHTTP(w, httptest.NewRequest("GET", "/status", nil))
	var st runner.Status
	require.NoError(t, json.Unmarshal(w.Body.Bytes(), &st))
	rounds, err := r.desk.Rounds(t.Context())
	require.NoError(t, err)
	listed := map[string]control.SaltView{}
	for _, s := range rounds.TapSalts {
		listed[string(s.Zone)] = s.SaltView
	}
	for i := range st.Zones {
		z := &st.Zones[i]
		if z.HandTended {
			assert.Nil(t, z.TapSalts, "nothing is washed by hand")
			assert.NotContains(t, listed, string(z.Zone))
			continue
		}
		require.NotNil(t, z.TapSalts, z.Zone)
		assert.Positive(t, z.TapSalts.MS)
		assert.Less(t, z.TapSalts.MS, z.TapSalts.WashAtMS)
		assert.InDelta(t, z.TapSalts.MS, listed[string(z.Zone)].MS, 0.05)
		assert.Equal(t, z.TapSalts.WashAtMS, listed[string(z.Zone)].WashAtMS)
	}
	assert.Len(t, listed, 6)
	body := pageOf(r, "/pot/trough-bean")
	assert.Contains(t, body, "of the bush bean harvest)", "which is not fed")
}

// TestPotShowsWaterByHand: of a pot without a line and of one with.
func TestPotShowsWaterByHand(t *testing.T) {
	r := newRig(t, 3*time.Hour, 1, nil)
	for _, z := range []garden.ZoneID{"chard", "chilli"} {
		require.NotContains(t, pageOf(r, "/pot/"+string(z)), "<td>1.7"+apart+"L")
		require.NoError(t, r.desk.Ask(t.Context(), garden.Ask{Kind: garden.GardenerWatered, Zone: z, Litres: 1.7, Who: "test"}))
		r.live(10 * time.Minute)
		assert.Regexp(t, `<td>\s*1\.7`+apart+`L`, pageOf(r, "/pot/"+string(z)))
	}
}

func pageOf(r *rig, path string) string {
	q := httptest.NewRequest("GET", path, nil)
	q.Host, q.RemoteAddr = "localhost:8077", "127.0.0.1:40000"
	w := httptest.NewRecorder()
	r.page.ServeHTTP(w, q)
	return w.Body.String()
}

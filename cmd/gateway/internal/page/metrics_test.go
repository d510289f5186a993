package page

import (
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/prometheus/client_golang/prometheus/testutil/promlint"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/cmd/gateway/internal/notify"
	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control"
	"fabricpot/control/garden"
)

func TestMetrics(t *testing.T) {
	s := newSite(t, nil)
	st := *s.gate.status
	st.Alarms = []runner.AlarmLine{{Name: "probe does not answer", About: "chilli-middle", State: "raised"}}
	st.Zones = append(st.Zones[:0:0], st.Zones...)
	st.Zones[3].Water, st.Zones[3].HeldL = nil, nil
	st.Zones[3].Probes = []runner.ProbeStatus{{Probe: "chilli-middle", Quality: "bad", Fault: "no answer from the probe"}}
	st.Zones[0].TapSalts = &control.SaltView{MS: 1.25, WashAtMS: 3.5, CostPC: 8, Crop: "aubergine"}
	s.gate.status = &st
	w := s.get("/metrics")
	require.Equal(t, 200, w.Code)
	body := w.Body.String()
	for _, line := range []string{
		`fabricpot_probe_success{probe="chilli-middle",zone="chilli"} 0`,
		`fabricpot_probe_success{probe="chard-middle",zone="chard"} 1`,
		`fabricpot_zone_water_ratio{zone="aubergine"} 0.45`,
		`fabricpot_zone_state{state="resting",zone="aubergine"} 1`,
		`fabricpot_line_closed_confirmed{line="bean"} 1`,
		`fabricpot_alarm_raised{about="chilli-middle",alarm="probe does not answer"} 1`,
		`fabricpot_zone_salts_millisiemens_per_centimetre{zone="aubergine"} 1.25`,
		`fabricpot_zone_salts_wash_millisiemens_per_centimetre{zone="aubergine"} 3.5`,
		`fabricpot_rounds_total 77`, `fabricpot_automatic 1`,
	} {
		assert.Contains(t, body, line+"\n")
	}
	assert.NotContains(t, body, `fabricpot_zone_water_ratio{zone="chilli"}`, "unknown is absent, never zero")
	assert.NotContains(t, body, `fabricpot_zone_salts_millisiemens_per_centimetre{zone="chilli"}`, "no account, no figure")
	assert.NotContains(t, body, `fabricpot_probe_water_ratio{probe="chilli-middle"`)
	problems, err := promlint.New(strings.NewReader(body)).Lint()
	require.NoError(t, err)
	assert.Empty(t, problems, "promlint of Prometheus's own client library")
}

// TestMetricsOfWaysToOneHost: ways are told apart, and not by what may be a secret.
func TestMetricsOfWaysToOneHost(t *testing.T) {
	const host = "https://hooks.example.org"
	ways, err := notify.Network(garden.Calling{
		Webhooks: []garden.Webhook{{URL: host + "/gardener?token=hush"}, {URL: "https://else.example.org/x"}, {URL: host + "/neighbour/hush"}},
		Mail:     garden.Mail{Server: "hooks.example.org:587", From: "a@example.org", To: []string{"b@example.org"}},
	})
	require.NoError(t, err)
	require.Len(t, ways, 4)
	s := newSite(t, func(o *Options) {
		o.Ways = func() (out []Way) {
			for i, w := range ways {
				out = append(out, Way{Name: w.Name(), Words: "works", Works: true, Sent: uint64(i)})
			}
			return out
		}
	})
	w := s.get("/metrics")
	body := w.Body.String()
	require.Equal(t, 200, w.Code, body)
	for _, line := range []string{
		`fabricpot_messages_sent_total{way="webhook hooks.example.org"} 0`,
		`fabricpot_messages_sent_total{way="webhook hooks.example.org no. 2"} 2`,
		`fabricpot_messages_sent_total{way="webhook else.example.org"} 1`,
	} {
		assert.Contains(t, body, line+"\n")
	}
	assert.NotContains(t, body, "hush")
}

func TestWhoMayScrape(t *testing.T) {
	s := locked(t)
	ask := func(password string) int {
		r := httptest.NewRequest("GET", "/metrics", nil)
		if password != "" {
			r.SetBasicAuth("any", password)
		}
		return s.send(r).Code
	}
	assert.Equal(t, 401, ask(""))
	assert.Equal(t, 401, ask("wrong"))
	assert.Equal(t, 200, ask(guestsWord))
	assert.Equal(t, 200, ask(guestsWord), "from memory")
	for range freeTries + 1 {
		ask("wrong")
	}
	assert.Equal(t, 429, ask("wrong"), "guessing is slowed here too")
	assert.Equal(t, 200, ask(guestsWord), "while the collector goes on")
	s.remote = "127.0.0.1:5"
	assert.Equal(t, 200, ask(""), "on this machine")
}

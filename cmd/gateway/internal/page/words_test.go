package page

import (
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/cmd/gateway/internal/config"
	"fabricpot/control/feeding"
	"fabricpot/control/garden"
	"fabricpot/control/task"
	"fabricpot/testdata"
)

// A US gallon is 3.785411784 L, and °F = 1.8 °C + 32 (NIST SP 811, appendix B;
// from memory).
func TestWordsInTheBrowsersUnits(t *testing.T) {
	us := prefs{gallons: true, fahrenheit: true}
	for said, want := range map[string]string{
		"holds 44.1 % water, under its refill point of 45.5 %: 4.1 L to refill": "holds 44.1 % water, under its refill point of 45.5 %: 1.1 gal to refill",
		"opens chilli for 1.36 L: pulse 2 of 3, 2.7 L still to give":            "opens chilli for 0.36 gal: pulse 2 of 3, 0.71 gal still to give",
		"the mix is at 36 °C":                            "the mix is at 97 °F",
		"frost: -2.5 °C":                                 "frost: 28 °F",
		"6.0 L/h where 12.0 L/h was expected":            "1.6 gal/h where 3.2 gal/h was expected",
		"line l0 has reached its limit of 113.6 L a day": "line l0 has reached its limit of 30 gal a day",
		"150 mg/L N, 2.0 mS/cm":                          "150 mg/L N, 2.0 mS/cm",
		"mix 12 g into 3.785 L":                          "mix 12 g into 1 gal",
		"5 Leaves":                                       "5 Leaves",
	} {
		assert.Equal(t, want, us.words(said))
		assert.Equal(t, said, prefs{}.words(said))
	}
	assert.Equal(t, "2.0 L at 77 °F", prefs{fahrenheit: true}.words("2.0 L at 25 °C"))
}

// TestEverySentenceInTheBrowsersUnits: the next feed, what a list asks to mind and
// the answer to a note are the controller's words like any other. 2 L are 0.528 US
// gallons, 35 °C are 95 °F.
func TestEverySentenceInTheBrowsersUnits(t *testing.T) {
	s := newSite(t, func(o *Options) { o.NextFeed = func(garden.ZoneID) string { return "Thursday, 2.0 L" } })
	require.Equal(t, 303, s.post("/settings", "volume", "gal", "degrees", "F", "tone", "dark").Code)
	for _, path := range []string{"/", "/pot/aubergine"} {
		body := s.get(path).Body.String()
		assert.Contains(t, body, "Thursday, 0.53 gal", path)
		assert.NotContains(t, body, "Thursday, 2.0 L", path)
	}

	v := &visit{prefs: prefs{gallons: true, fahrenheit: true}}
	said := []string{"over 35 °C", "2.0 L of it"}
	want := []string{"over 95 °F", "0.53 gal of it"}
	st := s.gate.Status()
	tv := s.page.taskView(task.Listed{Task: task.Task{ID: "t", Title: said[0], Why: said[0], Steps: said, Cautions: said}, Since: said}, st, v)
	assert.Equal(t, want, tv.Steps)
	assert.Equal(t, want, tv.Cautions)
	assert.Equal(t, want, tv.Since)

	noted := feeding.Noted{
		Answer: task.Answer{
			Causes: []task.Cause{{Name: said[0], Support: said[0], Evidence: said, Check: said[1], Source: "35 °C in the source stays"}},
			First:  said, LeaveAlone: said, Caveat: said[0],
		},
		Plan: []task.PlanStep{{Day: 0, ToDay: 1, Words: said[1]}},
	}
	m := s.page.answerModel(noted, s.page.zones["chilli"], st, v, "")
	assert.Equal(t, []task.Cause{{Name: want[0], Support: want[0], Evidence: want, Check: want[1], Source: "35 °C in the source stays"}}, m.Causes)
	assert.Equal(t, want, m.First)
	assert.Equal(t, want, m.LeaveAlone)
	assert.Equal(t, want[0], m.Caveat)
	require.Len(t, m.Plan, 1)
	assert.Contains(t, m.Plan[0], ": "+want[1])
	assert.Equal(t, said, noted.Answer.Causes[0].Evidence, "the answer itself is not changed")
}

// TestMeasuringTheHose: the task says where the figure goes, and what it shows is what the
// garden file takes, in either unit.
func TestMeasuringTheHose(t *testing.T) {
	for _, pr := range []prefs{{}, {gallons: true}} {
		said := strings.Join(pr.eachWords(task.NewMeasure(time.Time{}).Steps), " ")
		found := regexp.MustCompile(`hose: (\d+(?:\.\d+)?[ \x{00a0}]\S+/min)`).FindStringSubmatch(said)
		require.NotNil(t, found, said)
		line := strings.ReplaceAll(found[0], apart, " ")
		g, _, err := config.Load("terrace.yaml", []byte(string(testdata.Terrace)+"\n"+line+"\n"))
		require.NoError(t, err)
		assert.InDelta(t, 12, g.HoseLPM.Value, 0.2)
		if pr.gallons {
			assert.NotRegexp(t, `\d L|[Ll]itre`, said)
		}
	}
}

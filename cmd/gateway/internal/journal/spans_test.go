package journal

import (
	"context"
	"math"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestCourseIsTheSeries: from spans or from samples, a course says the same, and
// whoever reads the samples of a span finds its sum.
func TestCourseIsTheSeries(t *testing.T) {
	j := open(t, filepath.Join(t.TempDir(), "j.db"))
	wave := func(m int) float64 { return 0.4 + 0.1*math.Sin(float64(m)/100) }
	fill(t, j, 0, 30*day, wave)
	from := start.Truncate(24 * time.Hour).Add(24 * time.Hour)
	for _, c := range []struct {
		name   string
		span   time.Duration
		points int
	}{{"quarters", day, 96}, {"two hours", 7 * day, 84}, {"several", 20 * day, 40}, {"days", 20 * day, 20}} {
		t.Run(c.name, func(t *testing.T) {
			// Both take the first millisecond of the next span as theirs.
			to := from.Add(c.span - time.Millisecond)
			want, err := j.ZoneSeries("chilli", from, to, c.points)
			require.NoError(t, err)
			got, err := j.ZoneCourse("chilli", from, to.Add(time.Millisecond), c.points)
			require.NoError(t, err)
			require.GreaterOrEqual(t, len(got), c.points)
			for i := range want {
				assert.Equal(t, want[i].At, got[i].At)
				assert.Equal(t, want[i].N, got[i].N)
				assert.InDelta(t, want[i].Mean, got[i].Mean, 1e-12)
				assert.Equal(t, want[i].Min, got[i].Min)
				assert.Equal(t, want[i].Max, got[i].Max)
				assert.InDelta(t, want[i].Refill.Value, got[i].Refill.Value, 1e-12)
				assert.Equal(t, want[i].SD.Known, got[i].SD.Known)
			}
		})
	}
	t.Run("shorter than any span", func(t *testing.T) {
		want, err := j.ZoneSeries("chilli", from, from.Add(time.Hour), 10)
		require.NoError(t, err)
		got, err := j.ZoneCourse("chilli", from, from.Add(time.Hour), 10)
		require.NoError(t, err)
		assert.Equal(t, want, got)
	})
	t.Run("thinned samples", func(t *testing.T) {
		before, err := j.ZoneCourse("chilli", from, from.Add(20*day), 20)
		require.NoError(t, err)
		_, err = j.Retain(context.Background(), at(30*day), DefaultRetention())
		require.NoError(t, err)
		after, err := j.ZoneCourse("chilli", from, from.Add(20*day), 20)
		require.NoError(t, err)
		assert.Equal(t, before, after, "days are as they were, with their least and most")
		quarters, err := j.ZoneCourse("chilli", from, from.Add(day), 96)
		require.NoError(t, err)
		assert.Len(t, quarters, 96, "from the means that the samples became")
		assert.Equal(t, 0, count(t, j, "SELECT count(*) FROM spans WHERE length=900000 AND at_wall<"+ms(start.Add(15*day))), "kept once")
	})
	t.Run("nothing there", func(t *testing.T) {
		for _, z := range []garden.ZoneID{"chilli", "nobody"} {
			got, err := j.ZoneCourse(z, from.Add(-300*day), from.Add(-100*day), 200)
			require.NoError(t, err)
			assert.Empty(t, got)
		}
		got, err := j.ZoneCourse("chilli", from, from, 10)
		require.NoError(t, err)
		assert.Empty(t, got)
	})
}

// TestCourseOfAnOlderJournal: samples that were written before spans were kept
// are read as samples, and nothing of them is left out.
func TestCourseOfAnOlderJournal(t *testing.T) {
	j := open(t, filepath.Join(t.TempDir(), "j.db"))
	fill(t, j, 0, 3*day, func(int) float64 { return 0.4 })
	_, err := j.easy.Exec("DELETE FROM spans")
	require.NoError(t, err)
	fill(t, j, 3*day, 6*day, func(int) float64 { return 0.4 })
	got, err := j.ZoneCourse("chilli", start, start.Add(6*day), 6)
	require.NoError(t, err)
	n := 0
	for _, p := range got {
		n += p.N
	}
	assert.Equal(t, 6*1440, n)
}

func TestSpansLeaveOutWhatIsNotKnown(t *testing.T) {
	j := open(t, filepath.Join(t.TempDir(), "j.db"))
	noon := start.Truncate(24 * time.Hour).Add(36 * time.Hour)
	z := func(d time.Duration, w garden.Measured) ZoneSample {
		return ZoneSample{Zone: "chilli", At: garden.Moment{Wall: noon.Add(d)}, Water: w, SD: garden.Known(0.01)}
	}
	for _, b := range []Batch{
		{Zones: []ZoneSample{z(0, garden.Known(0.2)), z(time.Minute, garden.Measured{}), z(2*time.Minute, garden.Known(math.NaN()))}},
		{Zones: []ZoneSample{z(3*time.Minute, garden.Known(0.4)), z(20*time.Minute, garden.Known(0.9))}},
	} {
		require.NoError(t, j.AddSamples(b))
	}
	got, err := j.ZoneCourse("chilli", noon, noon.Add(day), 96)
	require.NoError(t, err)
	require.Len(t, got, 2)
	assert.Equal(t, 2, got[0].N)
	assert.InDelta(t, 0.3, got[0].Mean, 1e-12)
	assert.Equal(t, []float64{0.2, 0.4}, []float64{got[0].Min, got[0].Max})
	assert.Equal(t, garden.Known(0.01), got[0].SD)
	assert.False(t, got[0].Refill.Known, "unknown is no zero")
}

func TestGivenAndTheLatestOfAZone(t *testing.T) {
	j := open(t, filepath.Join(t.TempDir(), "j.db"))
	for i := range 20 {
		line := garden.LineID([]string{"a", "b"}[i%2])
		m := at(time.Duration(i) * time.Hour)
		require.NoError(t, j.Settle(garden.Delivery{Order: garden.OrderID(i + 1), Line: line, Zone: "chilli", Litres: float64(i), OpenedAt: m, ClosedAt: m}))
		require.NoError(t, j.AddDecision(Decision{At: m, Zone: garden.ZoneID(line), Text: m.Wall.Format("15:04")}))
		require.NoError(t, j.AddNote(Note{At: m, Zone: garden.ZoneID(line), Kind: "seen", Text: m.Wall.Format("15:04")}))
	}
	given, err := j.Given("b", start, start.Add(20*time.Hour), 2)
	require.NoError(t, err)
	require.Len(t, given, 2)
	assert.Equal(t, []float64{1 + 3 + 5 + 7 + 9, 11 + 13 + 15 + 17 + 19}, []float64{given[0].Litres, given[1].Litres})
	for i, zone := range []garden.ZoneID{"chilli", "chilli", "bean", "chilli"} {
		kind := garden.GardenerWatered
		if i == 3 {
			kind = garden.AskWater
		}
		require.NoError(t, j.AddAsk(at(time.Duration(6*i)*time.Hour), garden.Ask{Kind: kind, Zone: zone, Litres: float64(i + 1)}, ""))
	}
	poured, err := j.GivenByHand("chilli", start, start.Add(20*time.Hour), 1)
	require.NoError(t, err)
	require.Len(t, poured, 1)
	assert.InDelta(t, 1+2, poured[0].Litres, 1e-9, "what was poured, into this pot")
	decisions, err := j.DecisionsOf("a", start, 3)
	require.NoError(t, err)
	notes, err := j.NotesOf("a", start.Add(17*time.Hour), 3)
	require.NoError(t, err)
	require.Len(t, decisions, 3)
	require.Len(t, notes, 1, "since a time")
	assert.Equal(t, start.Add(18*time.Hour).UTC(), decisions[0].At.Wall)
	assert.Equal(t, start.Add(14*time.Hour).UTC(), decisions[2].At.Wall)
	assert.Equal(t, decisions[0].Text, notes[0].Text)
}

func ms(t time.Time) string { return strconv.FormatInt(t.UnixMilli(), 10) }

package journal

import (
	"math"
	"path/filepath"
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestEvents(t *testing.T) {
	path := filepath.Join(t.TempDir(), "j.db")
	j := open(t, path)
	d := Decision{At: at(time.Hour), Zone: "chilli", Line: "l", Order: 9, Cause: garden.TooSoon, Text: "rests"}
	f := Feed{At: at(time.Hour), Zone: "chilli", Recipe: "bloom", Litres: 2, NG: garden.Known(0.3), Order: 9, Who: "guard"}
	n := Note{At: at(time.Hour), Zone: "chilli", Kind: "pour-through EC, mS/cm", Value: garden.Known(2.1), Text: "x", Who: "me"}
	a := AlarmEvent{At: at(time.Hour), Kind: "tank low", Subject: "tank", Event: "raised", Text: "fill it", Who: ""}
	require.NoError(t, j.AddDecision(d))
	require.NoError(t, j.AddFeed(f))
	require.NoError(t, j.AddNote(n))
	require.NoError(t, j.AddAlarm(a))
	require.NoError(t, j.AddAsk(at(time.Hour), garden.Ask{Kind: garden.AskWater, Zone: "chilli", Litres: 1, Who: "page"}, "done"))
	require.Error(t, j.AddAsk(at(0), garden.Ask{Litres: math.NaN()}, ""))
	require.Error(t, j.AddFeed(Feed{Litres: math.Inf(1)}))
	require.NoError(t, j.SetMeta("auto", "off"))
	require.NoError(t, j.SetMeta("auto", "on"))
	require.NoError(t, j.Ping(at(time.Hour)))
	require.NoError(t, j.Close())

	j = open(t, path)
	// Mono is of a run that is over: these come back with their wall time.
	back := garden.Moment{Wall: start.Add(time.Hour), Synced: true}
	d.At, f.At, n.At, a.At = back, back, back, back
	ds, err := j.Decisions(start, start.Add(2*time.Hour), 10)
	require.NoError(t, err)
	assert.Equal(t, []Decision{d}, ds)
	fs, err := j.Feeds("chilli", start)
	require.NoError(t, err)
	assert.Equal(t, []Feed{f}, fs)
	ns, err := j.Notes(start)
	require.NoError(t, err)
	assert.Equal(t, []Note{n}, ns)
	as, err := j.Alarms(start, 10)
	require.NoError(t, err)
	assert.Equal(t, []AlarmEvent{a}, as)
	v, ok, err := j.Meta("auto")
	require.NoError(t, err)
	assert.True(t, ok)
	assert.Equal(t, "on", v)
	_, ok, err = j.Meta("never set")
	require.NoError(t, err)
	assert.False(t, ok)
	last, err := j.LastOrderID()
	require.NoError(t, err)
	assert.Equal(t, garden.OrderID(9), last)
	ver, err := j.SchemaVersion()
	require.NoError(t, err)
	assert.Equal(t, len(migrations()), ver)
}

package journal

import (
	"errors"
	"path/filepath"
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestBesideAsks: what a person switched off or kept shut while no journal could keep it
// holds with what the journal has, as the later word, until the journal has it too.
func TestBesideAsks(t *testing.T) {
	path := filepath.Join(t.TempDir(), "unwritten.json")
	reopen := func() *Beside {
		b, err := OpenBeside(path, "boot a")
		require.NoError(t, err)
		return b
	}
	b := reopen()
	shut := func(zone garden.ZoneID, h int) garden.Ask {
		return garden.Ask{Kind: garden.AskShut, Zone: zone, Until: at(time.Duration(h) * time.Hour), Who: "test"}
	}
	require.NoError(t, b.Ask(at(time.Hour), shut("chilli", 49)))
	require.NoError(t, b.Ask(at(time.Hour), shut("short", 2)))
	require.NoError(t, b.Ask(at(2*time.Hour), garden.Ask{Kind: garden.AskRelease, Zone: "freed"}))
	require.NoError(t, b.Ask(at(2*time.Hour), garden.Ask{Kind: garden.AskAutoOn}))
	require.NoError(t, b.Ask(at(2*time.Hour), garden.Ask{Kind: garden.AskWater, Zone: "chilli", Litres: 1}))

	j := open(t, filepath.Join(t.TempDir(), "j.db"))
	require.NoError(t, j.AddAsk(at(0), shut("freed", 90), ""))
	require.NoError(t, j.AddAsk(at(0), garden.Ask{Kind: garden.AskAutoOff}, ""))
	require.NoError(t, j.AddAsk(at(0), shut("basil", 90), ""))
	holds := func(b *Beside) (zones []garden.ZoneID) {
		t.Helper()
		now := at(3 * time.Hour).Wall
		kept, err := j.Standing(now)
		require.NoError(t, err)
		for _, a := range b.Standing(kept, now) {
			require.Equal(t, garden.AskShut, a.Kind)
			zones = append(zones, a.Zone)
			if a.Zone == "chilli" {
				assert.Equal(t, 48*time.Hour, a.Until.Mono, "so long it was asked for")
				assert.True(t, a.Until.Wall.Equal(at(49*time.Hour).Wall))
				assert.Equal(t, "test", a.Who)
			}
		}
		return zones
	}
	assert.Equal(t, []garden.ZoneID{"basil", "chilli"}, holds(reopen()))

	n, full := 0, errors.New("full")
	b = reopen()
	require.ErrorIs(t, b.Carry(func(at garden.Moment, a garden.Ask) error {
		if n++; n > 2 {
			return full
		}
		return j.AddAsk(at, a, "")
	}), full)
	assert.Equal(t, []garden.ZoneID{"basil", "chilli"}, holds(reopen()), "some in the journal, the rest beside")
	kept := 0
	b = reopen()
	require.NoError(t, b.Carry(func(at garden.Moment, a garden.Ask) error { kept++; return j.AddAsk(at, a, "") }))
	assert.Equal(t, 2, kept)
	assert.NoFileExists(t, path)
	assert.Equal(t, []garden.ZoneID{"basil", "chilli"}, holds(nil))
	require.NoError(t, (*Beside)(nil).Carry(nil))
	require.NoError(t, (*Beside)(nil).Ask(at(0), shut("a", 1)))
}

// TestBesideStarts: starts that no journal could note count as crashes of the last ten
// minutes, but for one that stopped in good order.
func TestBesideStarts(t *testing.T) {
	path := filepath.Join(t.TempDir(), "unwritten.json")
	const span = 10 * time.Minute
	crashes := func(b *Beside, m int) int {
		t.Helper()
		n, err := b.Crashes(at(time.Duration(m)*time.Minute), span)
		require.NoError(t, err)
		return n
	}
	var b *Beside
	for life := range 3 {
		var err error
		b, err = OpenBeside(path, "boot a")
		require.NoError(t, err)
		require.Equal(t, life, crashes(b, 3*life))
		require.NoError(t, b.Started(at(time.Duration(3*life)*time.Minute)))
	}
	require.NoError(t, b.Stopped())
	b, err := OpenBeside(path, "boot a")
	require.NoError(t, err)
	assert.Equal(t, 2, crashes(b, 9))
	assert.Equal(t, 1, crashes(b, 11), "the first is too old")
	other, err := OpenBeside(path, "")
	require.NoError(t, err)
	assert.Equal(t, 1, crashes(other, 11), "by the time of day, where no clock is shared")
	n, err := other.Crashes(garden.Moment{Mono: 11 * time.Minute}, span)
	require.NoError(t, err)
	assert.Zero(t, n, "of unknown age")
	assert.NoFileExists(t, path)
	require.NoError(t, (*Beside)(nil).Started(at(0)))
	require.NoError(t, (*Beside)(nil).Stopped())
	assert.Zero(t, crashes(nil, 0))
}

package journal

import (
	"errors"
	"io/fs"
	"os"
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

// TestBesideAsksThatTheFileCannotForget: while the file still has requests that the
// journal took, each Carry tries again and says so; a start would take them for the newest.
func TestBesideAsksThatTheFileCannotForget(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "run")
	require.NoError(t, os.Mkdir(dir, 0o700))
	path := filepath.Join(dir, "unwritten.json")
	b, err := OpenBeside(path, "boot a")
	require.NoError(t, err)
	require.NoError(t, b.Intend(order(1), 1, at(0), false)) // so that there is a file to write
	require.NoError(t, b.Ask(at(0), garden.Ask{Kind: garden.AskRelease, Zone: "a"}))
	taken := 0
	take := func(garden.Moment, garden.Ask) error { taken++; return nil }
	require.NoError(t, os.Rename(dir, dir+"-away"))
	for range 3 {
		require.ErrorIs(t, b.Carry(take), fs.ErrNotExist)
		assert.Equal(t, 1, taken, "once")
	}
	full := errors.New("full")
	shut := garden.Ask{Kind: garden.AskShut, Zone: "a", Until: at(48 * time.Hour)}
	require.ErrorIs(t, b.Ask(at(time.Hour), shut), fs.ErrNotExist)
	require.NoError(t, os.Rename(dir+"-away", dir))
	require.ErrorIs(t, b.Carry(func(garden.Moment, garden.Ask) error { return full }), full)
	again, err := OpenBeside(path, "boot a")
	require.NoError(t, err)
	require.Len(t, again.Asks, 1, "written though the journal took none")
	assert.Equal(t, garden.AskShut, again.Asks[0].Kind)
	require.NoError(t, b.Carry(take))
	assert.Equal(t, 2, taken)
	again, err = OpenBeside(path, "boot a")
	require.NoError(t, err)
	assert.Empty(t, again.Asks)
	assert.Len(t, again.Orders, 1)
}

// TestBesideManyAsks: however often something is switched, what it makes void goes
// before what still holds.
func TestBesideManyAsks(t *testing.T) {
	b, err := OpenBeside("", "")
	require.NoError(t, err)
	shut := func(zone garden.ZoneID) garden.Ask {
		return garden.Ask{Kind: garden.AskShut, Zone: zone, Until: at(48 * time.Hour)}
	}
	require.NoError(t, b.Ask(at(0), shut("freed")))
	require.NoError(t, b.Ask(at(0), garden.Ask{Kind: garden.AskRelease})) // each zone
	require.NoError(t, b.Ask(at(0), shut("kept")))
	require.NoError(t, b.Ask(at(0), garden.Ask{Kind: garden.AskRelease, Zone: "open"}))
	for range 2 * besideAsks {
		for _, a := range []garden.Ask{{Kind: garden.AskAutoOff}, {Kind: garden.AskAutoOn}, shut("toggled"), {Kind: garden.AskRelease, Zone: "toggled"}} {
			require.NoError(t, b.Ask(at(time.Hour), a))
			require.LessOrEqual(t, len(b.Asks), besideAsks)
		}
	}
	require.NoError(t, b.Ask(at(time.Hour), garden.Ask{Kind: garden.AskAutoOff}))
	var zones []garden.ZoneID
	for _, a := range b.Standing([]garden.Ask{shut("open"), shut("journal's")}, at(2*time.Hour).Wall) {
		zones = append(zones, a.Zone)
	}
	assert.Equal(t, []garden.ZoneID{"", "kept"}, zones, "automatic off, and one zone")
}

// TestBesideStarts: starts that no journal could note are remembered over lives, with
// whether they stopped in good order, until a journal has them.
func TestBesideStarts(t *testing.T) {
	path := filepath.Join(t.TempDir(), "unwritten.json")
	var b *Beside
	for life := range 3 {
		var err error
		b, err = OpenBeside(path, "boot a")
		require.NoError(t, err)
		require.Len(t, b.EarlierStarts(), life)
		require.NoError(t, b.Started(at(time.Duration(3*life)*time.Minute)))
	}
	require.NoError(t, b.Stopped())
	for clock, same := range map[string]bool{"boot a": true, "boot b": false, "": false} {
		b, err := OpenBeside(path, clock)
		require.NoError(t, err)
		all := b.EarlierStarts()
		require.Len(t, all, 3)
		for i, s := range all {
			assert.Equal(t, same, s.SameClock)
			assert.Equal(t, i == 2, s.Clean)
			assert.Equal(t, time.Duration(3*i)*time.Minute, s.At.Mono)
		}
	}
	require.NoError(t, b.ForgetStarts())
	assert.Empty(t, b.EarlierStarts())
	assert.NoFileExists(t, path)
	require.NoError(t, (*Beside)(nil).Started(at(0)))
	require.NoError(t, (*Beside)(nil).Stopped())
	require.NoError(t, (*Beside)(nil).ForgetStarts())
	assert.Empty(t, (*Beside)(nil).EarlierStarts())
}

package journal

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// older makes a journal as a program before this one left it.
func older(t *testing.T, version int) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "j.db")
	db, err := single(path, "rwc", "journal_mode(WAL)")
	require.NoError(t, err)
	for _, step := range migrations()[:version] {
		_, err = db.Exec(step)
		require.NoError(t, err)
	}
	for _, q := range []string{
		"PRAGMA application_id=1179676532", // applicationID in decimal
		"INSERT INTO names(id,name) VALUES(1,'zone chilli')",
	} {
		_, err = db.Exec(q)
		require.NoError(t, err)
	}
	_, err = db.Exec("INSERT INTO zones(zone,at_wall,at_synced,water,refill,capacity,state) VALUES(1,?,1,0.41,0.38,0.5,0)", start.UnixMilli())
	require.NoError(t, err)
	switch version {
	case 1:
		_, err = db.Exec("PRAGMA user_version=1")
	case 2:
		_, err = db.Exec("PRAGMA user_version=2")
	}
	require.NoError(t, err)
	require.NoError(t, db.Close())
	return path
}

func TestSchemaBefore(t *testing.T) {
	for _, version := range []int{1, 2} {
		path := older(t, version)
		t.Run("read as it is", func(t *testing.T) {
			j, err := OpenReader(path)
			require.NoError(t, err)
			defer j.Close()
			got, err := j.ZoneSeries("chilli", start, start.Add(time.Hour), 4)
			require.NoError(t, err)
			require.Len(t, got, 1)
			assert.Equal(t, 0.41, got[0].Mean)
			assert.False(t, got[0].SD.Known)
			rain, err := j.Rain(start, start.Add(time.Hour), 4)
			require.NoError(t, err)
			assert.Empty(t, rain)
			v, err := j.SchemaVersion()
			require.NoError(t, err)
			assert.Equal(t, version, v, "a reader changes nothing")
		})
		t.Run("brought forward with what it held", func(t *testing.T) {
			j := open(t, path)
			v, err := j.SchemaVersion()
			require.NoError(t, err)
			assert.Equal(t, len(migrations()), v)
			require.NoError(t, j.AddSamples(Batch{
				Zones: []ZoneSample{{Zone: "chilli", At: at(30 * time.Minute), Water: garden.Known(0.43), SD: garden.Known(0.02)}},
				Skies: []SkySample{{At: at(30 * time.Minute), RainMM: garden.Known(1.5)}},
			}))
			got, err := j.ZoneSeries("chilli", start, start.Add(time.Hour), 4)
			require.NoError(t, err)
			require.Len(t, got, 2)
			assert.Equal(t, 0.41, got[0].Mean)
			assert.False(t, got[0].SD.Known, "nothing known is no zero")
			assert.Equal(t, garden.Known(0.02), got[1].SD)
		})
	}
}

func TestWeatherIsKept(t *testing.T) {
	j := open(t, filepath.Join(t.TempDir(), "j.db"))
	for h := range 48 {
		s := SkySample{At: at(time.Duration(h)*time.Hour + 30*time.Minute), AirC: garden.Known(float64(h)), DayMaxC: garden.Known(30)}
		if h >= 24 {
			s.RainMM = garden.Known(0.5)
		}
		require.NoError(t, j.AddSky(s))
	}
	all, err := j.Skies(start, start.Add(48*time.Hour))
	require.NoError(t, err)
	require.Len(t, all, 48)
	assert.False(t, all[0].RainMM.Known, "no gauge is no dry day")
	assert.Equal(t, garden.Known(7.0), all[7].AirC)
	rain, err := j.Rain(start, start.Add(48*time.Hour), 4)
	require.NoError(t, err)
	// Twelve hours of half a millimetre each, by hand.
	require.Len(t, rain, 2)
	assert.InDelta(t, 6, rain[0].MM, 1e-9)
	assert.InDelta(t, 6, rain[1].MM, 1e-9)
	assert.InDelta(t, 24, rain[0].At.Sub(start).Hours(), 0.01)
}

func TestReader(t *testing.T) {
	t.Run("sees what a gateway writes meanwhile, and writes nothing", func(t *testing.T) {
		path := filepath.Join(t.TempDir(), "j.db")
		j := open(t, path)
		r, err := OpenReader(path)
		require.NoError(t, err)
		defer r.Close()
		require.NoError(t, j.AddAsk(at(0), garden.Ask{Kind: garden.GardenerWatered, Zone: "chilli", Litres: 2, Who: "page"}, ""))
		asks, err := r.Asks(start.Add(-time.Hour), start.Add(time.Hour))
		require.NoError(t, err)
		require.Len(t, asks, 1)
		assert.Equal(t, 2.0, asks[0].Litres)
		assert.Equal(t, garden.GardenerWatered, asks[0].Kind)
		require.Error(t, r.AddNote(Note{At: at(0)}))
		require.Error(t, r.Intend(order(1), 2, at(0)))
	})
	t.Run("in a folder that can't be written", func(t *testing.T) {
		if os.Geteuid() == 0 {
			t.Skip("root may write everywhere")
		}
		dir := t.TempDir()
		path := filepath.Join(dir, "j.db")
		j := open(t, path)
		require.NoError(t, j.AddSky(SkySample{At: at(0), RainMM: garden.Known(1)}))
		require.NoError(t, j.Close())
		require.NoError(t, os.Chmod(dir, 0o500))
		defer os.Chmod(dir, 0o700)
		r, err := OpenReader(path)
		require.NoError(t, err)
		defer r.Close()
		rain, err := r.Rain(start.Add(-time.Hour), start.Add(time.Hour), 1)
		require.NoError(t, err)
		assert.Len(t, rain, 1)
	})
	for name, body := range map[string]string{"no journal": "hello, this is a shopping list", "empty": ""} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "j.db")
			require.NoError(t, os.WriteFile(path, []byte(body), 0o600))
			_, err := OpenReader(path)
			require.ErrorContains(t, err, path)
			left, err := os.ReadFile(path)
			require.NoError(t, err)
			assert.Equal(t, body, string(left))
		})
	}
	t.Run("no file", func(t *testing.T) {
		path := filepath.Join(t.TempDir(), "j.db")
		_, err := OpenReader(path)
		require.ErrorIs(t, err, os.ErrNotExist)
		assert.NoFileExists(t, path, "looking makes none")
	})
	t.Run("another program's", func(t *testing.T) {
		path := filepath.Join(t.TempDir(), "j.db")
		db, err := single(path, "rwc")
		require.NoError(t, err)
		_, err = db.Exec("CREATE TABLE x(a)")
		require.NoError(t, err)
		require.NoError(t, db.Close())
		_, err = OpenReader(path)
		require.ErrorContains(t, err, "no journal of a gateway")
	})
	t.Run("spans, zones and probes", func(t *testing.T) {
		j := open(t, filepath.Join(t.TempDir(), "j.db"))
		_, _, ok, err := j.Span()
		require.NoError(t, err)
		assert.False(t, ok)
		for h, q := range []garden.Quality{garden.Good, garden.Bad, garden.Bad, garden.Uncertain} {
			require.NoError(t, j.AddSamples(Batch{
				Readings: []garden.Reading{{Probe: "p", Zone: "chilli", At: at(time.Duration(h) * time.Hour), Quality: q, Fault: garden.FlatLine}},
				Zones:    []ZoneSample{{Zone: "chilli", At: at(time.Duration(h) * time.Hour)}},
			}))
		}
		first, last, ok, err := j.Span()
		require.NoError(t, err)
		assert.True(t, ok)
		assert.Equal(t, 3*time.Hour, last.Sub(first))
		names, err := j.ZoneNames()
		require.NoError(t, err)
		assert.Equal(t, []garden.ZoneID{"chilli"}, names)
		health, err := j.ProbesBetween(start, start.Add(time.Hour*2))
		require.NoError(t, err)
		assert.Equal(t, []ProbeHealth{{Probe: "p", Good: 1, Bad: 2, Fault: garden.FlatLine}}, health)
	})
}

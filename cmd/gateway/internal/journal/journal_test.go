package journal

import (
	"errors"
	"io/fs"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"fabricpot/control/garden"
	"fabricpot/valves"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The journal is what the guard writes its intents to.
var _ valves.Ledger = (*Journal)(nil)

var start = time.Date(2031, 6, 1, 5, 0, 0, 0, time.UTC)

func at(d time.Duration) garden.Moment {
	return garden.Moment{Mono: d, Wall: start.Add(d), Synced: true}
}

func open(t *testing.T, path string, o ...Option) *Journal {
	t.Helper()
	j, aside, err := Open(path, o...)
	require.NoError(t, err)
	require.Empty(t, aside)
	t.Cleanup(func() { _ = j.Close() })
	return j
}

func order(id garden.OrderID) garden.Order {
	return garden.Order{ID: id, Line: "chilli", Zone: "chilli", Litres: 1.5, MaxOn: 20 * time.Minute, Kind: garden.Feeding,
		Why: garden.Reason{Code: garden.BelowRefill, A: 0.3, B: 0.35, C: 1.5}}
}

func delivery(id garden.OrderID, opened time.Duration) garden.Delivery {
	return garden.Delivery{Order: id, Line: "chilli", Zone: "chilli", Kind: garden.Irrigate, Litres: 1.25, Metered: true,
		Open: 10 * time.Minute, OpenedAt: at(opened), ClosedAt: at(opened + 10*time.Minute), End: garden.Complete}
}

func TestLedger(t *testing.T) {
	t.Run("an intent without an outcome survives the process", func(t *testing.T) {
		path := filepath.Join(t.TempDir(), "with space & 100%.db")
		j := open(t, path, WithClock("boot a"))
		require.NoError(t, j.Intend(order(7), 2, at(time.Hour)))
		require.NoError(t, j.Intend(order(8), 2, at(2*time.Hour)))
		require.NoError(t, j.Settle(delivery(7, time.Hour)))
		require.NoError(t, j.Close())

		for _, c := range []struct {
			clock string
			same  bool
		}{{"boot a", true}, {"boot b", false}} {
			j = open(t, path, WithClock(c.clock))
			got, err := j.Unfinished()
			require.NoError(t, err)
			assert.Equal(t, []garden.Intent{{Order: order(8), MaxLitres: 2, At: at(2 * time.Hour), SameClock: c.same}}, got)
			past, err := j.DeliveriesSince(start)
			require.NoError(t, err)
			assert.Equal(t, []garden.PastDelivery{{Delivery: delivery(7, time.Hour), SameClock: c.same}}, past)
			last, err := j.LastOrderID()
			require.NoError(t, err)
			assert.Equal(t, garden.OrderID(8), last)
			require.NoError(t, j.Close())
		}
	})
	t.Run("without a named clock no run shares another's", func(t *testing.T) {
		path := filepath.Join(t.TempDir(), "j.db")
		j := open(t, path)
		require.NoError(t, j.Intend(order(1), 2, at(0)))
		require.NoError(t, j.Close())
		got, err := open(t, path).Unfinished()
		require.NoError(t, err)
		require.Len(t, got, 1)
		assert.False(t, got[0].SameClock)
	})
	t.Run("an order is intended once and settled once", func(t *testing.T) {
		j := open(t, filepath.Join(t.TempDir(), "j.db"))
		require.NoError(t, j.Intend(order(1), 2, at(0)))
		require.Error(t, j.Intend(order(1), 2, at(0)))
		require.NoError(t, j.Settle(delivery(1, 0)))
		second := delivery(1, 0)
		second.Litres = 9
		require.NoError(t, j.Settle(second))
		past, err := j.DeliveriesSince(start)
		require.NoError(t, err)
		require.Len(t, past, 1)
		assert.Equal(t, 1.25, past[0].Litres)
		require.NoError(t, j.Settle(delivery(2, 0)), "an outcome without an intent: the no-journal budget")
	})
	t.Run("what an open line may have given is raised until it has an outcome", func(t *testing.T) {
		path := filepath.Join(t.TempDir(), "j.db")
		j := open(t, path)
		require.NoError(t, j.Intend(order(1), 2, at(0)))
		require.NoError(t, j.Raise(1, 16))
		require.NoError(t, j.Raise(1, 3), "it lowers nothing")
		require.NoError(t, j.Raise(2, 16), "no intent of ours")
		require.Error(t, j.Raise(1, math.Inf(1)))
		require.NoError(t, j.Close())
		require.ErrorIs(t, j.Raise(1, 20), errClosed)
		j = open(t, path)
		got, err := j.Unfinished()
		require.NoError(t, err)
		require.Len(t, got, 1)
		assert.Equal(t, 16.0, got[0].MaxLitres)
		require.NoError(t, j.Settle(delivery(1, 0)))
		require.NoError(t, j.Raise(1, 20))
		got, err = j.Unfinished()
		require.NoError(t, err)
		assert.Empty(t, got)
	})
	t.Run("no amount is no intent", func(t *testing.T) {
		j := open(t, filepath.Join(t.TempDir(), "j.db"))
		require.Error(t, j.Intend(order(1), math.Inf(1), at(0)))
		require.Error(t, j.Intend(order(math.MaxUint64), 2, at(0)))
		bad := delivery(1, 0)
		bad.Litres = math.NaN()
		require.Error(t, j.Settle(bad))
		u, err := j.Unfinished()
		require.NoError(t, err)
		assert.Empty(t, u)
	})
	t.Run("recent counts back from the last delivery where the clock went wrong", func(t *testing.T) {
		j := open(t, filepath.Join(t.TempDir(), "j.db"))
		require.NoError(t, j.Settle(delivery(1, 0)))
		require.NoError(t, j.Settle(delivery(2, 30*time.Hour)))
		require.NoError(t, j.Settle(delivery(3, 40*time.Hour)))
		for name, wall := range map[string]time.Time{
			"right":       start.Add(41 * time.Hour),
			"far forward": start.AddDate(20, 0, 0),
		} {
			got, err := j.Recent(garden.Moment{Wall: wall})
			require.NoError(t, err)
			assert.Len(t, got, 2, name)
		}
		got, err := j.Recent(garden.Moment{Wall: time.Unix(0, 0)})
		require.NoError(t, err)
		assert.Len(t, got, 3, "back in 1970 everything counts")
	})
	t.Run("a closed journal says so", func(t *testing.T) {
		j := open(t, filepath.Join(t.TempDir(), "j.db"))
		require.NoError(t, j.Close())
		require.ErrorIs(t, j.Intend(order(1), 2, at(0)), errClosed)
		require.ErrorIs(t, j.Settle(delivery(1, 0)), errClosed)
		_, err := j.Unfinished()
		require.ErrorIs(t, err, errClosed)
		require.NoError(t, j.Close())
	})
	t.Run("intents are synchronous FULL in the write-ahead log", func(t *testing.T) {
		j := open(t, filepath.Join(t.TempDir(), "j.db"))
		// SQLite's numbers: 1 NORMAL, 2 FULL.
		for _, c := range []struct {
			want int
			got  func() (int, error)
		}{
			{2, func() (n int, err error) { err = j.full.QueryRow("PRAGMA synchronous").Scan(&n); return n, err }},
			{1, func() (n int, err error) { err = j.easy.QueryRow("PRAGMA synchronous").Scan(&n); return n, err }},
		} {
			n, err := c.got()
			require.NoError(t, err)
			assert.Equal(t, c.want, n)
		}
		var mode string
		require.NoError(t, j.full.QueryRow("PRAGMA journal_mode").Scan(&mode))
		assert.Equal(t, "wal", mode)
	})
}

// TestKilled runs this test binary as a process that intends an order, begins
// to write samples without end, and is killed in the middle.
func TestKilled(t *testing.T) {
	const env = "JOURNAL_TEST_CHILD"
	if path := os.Getenv(env); path != "" {
		j, _, err := Open(path, WithClock("boot a"))
		if err != nil {
			t.Fatal(err)
		}
		if err := j.Intend(order(41), 2, at(0)); err != nil {
			t.Fatal(err)
		}
		os.Stdout.WriteString("intended\n")
		for i := 0; ; i++ {
			_ = j.AddSamples(Batch{Zones: []ZoneSample{{Zone: "chilli", At: at(time.Duration(i) * time.Second), Water: garden.Known(0.4)}}})
		}
	}
	path := filepath.Join(t.TempDir(), "j.db")
	for range 3 {
		cmd := exec.Command(os.Args[0], "-test.run=^TestKilled$")
		cmd.Env = append(os.Environ(), env+"="+path)
		out, err := cmd.StdoutPipe()
		require.NoError(t, err)
		require.NoError(t, cmd.Start())
		buf := make([]byte, 64)
		n, _ := out.Read(buf)
		require.Contains(t, string(buf[:n]), "intended")
		require.NoError(t, cmd.Process.Kill())
		_ = cmd.Wait() // it was killed: that is the error

		j := open(t, path, WithClock("boot a"))
		got, err := j.Unfinished()
		require.NoError(t, err)
		require.Len(t, got, 1)
		assert.Equal(t, garden.OrderID(41), got[0].Order.ID)
		assert.True(t, got[0].SameClock)
		// Make room for the next round's order of the same number.
		_, err = j.full.Exec("DELETE FROM intents")
		require.NoError(t, err)
		require.NoError(t, j.Close())
	}
}

func TestBroken(t *testing.T) {
	good := func(t *testing.T, path string) []byte {
		j := open(t, path)
		for i := range 2000 {
			require.NoError(t, j.insert("note", `INSERT INTO notes(at_wall,at_synced,zone,kind,text,who) VALUES(?,1,'','','padding','')`, i))
		}
		require.NoError(t, j.Close())
		b, err := os.ReadFile(path)
		require.NoError(t, err)
		return b
	}
	base := good(t, filepath.Join(t.TempDir(), "good.db"))
	page := 4096
	require.Greater(t, len(base), 8*page)

	torn := append([]byte(nil), base...)
	for i := page; i < 4*page; i++ {
		torn[i] = 0xA5
	}
	for _, c := range []struct {
		name string
		file []byte
	}{
		{"garbage", []byte(strings.Repeat("not a journal\n", 400))},
		{"a few bytes", []byte("SQLite format 3\x00")},
		{"truncated in a page", base[:len(base)-page-100]},
		{"truncated to one page", base[:page]},
		{"pages overwritten", torn},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := t.TempDir()
			path := filepath.Join(dir, "j.db")
			require.NoError(t, os.WriteFile(path, c.file, 0o600))
			now := func() time.Time { return start }
			j, aside, err := Open(path, WithNow(now))
			require.NoError(t, err)
			defer j.Close()
			kept := path + ".broken-20310601T050000Z"
			assert.Contains(t, aside, kept)
			b, err := os.ReadFile(kept)
			require.NoError(t, err)
			assert.Equal(t, c.file, b, "nothing of the broken file may change")
			require.NoError(t, j.Intend(order(1), 2, at(0)))
			require.NoError(t, j.Close())

			// A second one at the same second takes another name.
			require.NoError(t, os.WriteFile(path, c.file, 0o600))
			j, aside, err = Open(path, WithNow(now))
			require.NoError(t, err)
			defer j.Close()
			assert.Contains(t, aside, kept+"-2")
		})
	}
	t.Run("an empty file is a fresh journal", func(t *testing.T) {
		path := filepath.Join(t.TempDir(), "j.db")
		require.NoError(t, os.WriteFile(path, nil, 0o600))
		open(t, path)
	})
	t.Run("garbage beside a log that is none", func(t *testing.T) {
		path := filepath.Join(t.TempDir(), "j.db")
		require.NoError(t, os.WriteFile(path, []byte(strings.Repeat("not a journal\n", 400)), 0o600))
		require.NoError(t, os.WriteFile(path+"-wal", []byte("left over"), 0o600))
		_, aside, err := Open(path)
		require.NoError(t, err)
		assert.NotEmpty(t, aside)
	})
	t.Run("only the write-ahead log is left", func(t *testing.T) {
		path := filepath.Join(t.TempDir(), "j.db")
		require.NoError(t, os.WriteFile(path+"-wal", []byte("left over"), 0o600))
		j, aside, err := Open(path, WithNow(func() time.Time { return start }))
		require.NoError(t, err)
		defer j.Close()
		assert.NotEmpty(t, aside)
		b, err := os.ReadFile(path + ".broken-20310601T050000Z-wal")
		require.NoError(t, err)
		assert.Equal(t, "left over", string(b))
	})
	t.Run("another program's database is left alone", func(t *testing.T) {
		path := filepath.Join(t.TempDir(), "j.db")
		j := open(t, path)
		_, err := j.easy.Exec("PRAGMA application_id=77")
		require.NoError(t, err)
		require.NoError(t, j.Close())
		_, aside, err := Open(path)
		require.ErrorContains(t, err, "another program")
		assert.Empty(t, aside)
	})
	t.Run("a newer schema is left alone", func(t *testing.T) {
		path := filepath.Join(t.TempDir(), "j.db")
		j := open(t, path)
		_, err := j.easy.Exec("PRAGMA user_version=99")
		require.NoError(t, err)
		require.NoError(t, j.Close())
		_, aside, err := Open(path)
		require.ErrorContains(t, err, "version 99")
		assert.Empty(t, aside)
	})
}

func TestPlace(t *testing.T) {
	t.Run("only the owner may read it", func(t *testing.T) {
		path := filepath.Join(t.TempDir(), "j.db")
		j := open(t, path)
		require.NoError(t, j.Intend(order(1), 2, at(0)))
		for _, part := range []string{"", "-wal", "-shm"} {
			st, err := os.Stat(path + part)
			require.NoError(t, err)
			assert.Equal(t, fs.FileMode(0o600), st.Mode().Perm(), part)
		}
	})
	t.Run("a place that is no directory", func(t *testing.T) {
		file := filepath.Join(t.TempDir(), "file")
		require.NoError(t, os.WriteFile(file, []byte("x"), 0o600))
		_, _, err := Open(filepath.Join(file, "j.db"))
		require.ErrorContains(t, err, "j.db")
	})
	t.Run("a directory in its place", func(t *testing.T) {
		_, _, err := Open(t.TempDir())
		require.ErrorContains(t, err, "expected a file")
	})
	t.Run("a read-only directory", func(t *testing.T) {
		if os.Geteuid() == 0 {
			// Permissions do not bind root; a file system without files does.
			_, _, err := Open("/proc/self/j.db")
			require.Error(t, err)
			return
		}
		dir := t.TempDir()
		require.NoError(t, os.Chmod(dir, 0o500))
		_, aside, err := Open(filepath.Join(dir, "j.db"))
		require.True(t, errors.Is(err, fs.ErrPermission), "%v", err)
		assert.Empty(t, aside)
	})
}

func TestSamples(t *testing.T) {
	j := open(t, filepath.Join(t.TempDir(), "j.db"))
	var b Batch
	for i := range 600 {
		m := at(time.Duration(i) * time.Minute)
		b.Zones = append(b.Zones, ZoneSample{Zone: "chilli", At: m, Water: garden.Known(float64(i) / 1000), Refill: garden.Known(0.35)})
		b.Readings = append(b.Readings,
			garden.Reading{Probe: "p1", At: m, Volts: 1.5, Water: garden.WaterFraction(float64(i) / 1000), Quality: garden.Good},
			garden.Reading{Probe: "p2", At: m, Volts: 3.3, Water: 0, Quality: garden.Bad, Fault: garden.OpenCircuit},
			garden.Reading{Probe: "p3", At: m, Volts: garden.Volts(math.NaN()), Water: garden.WaterFraction(math.NaN()), Quality: garden.Uncertain})
	}
	require.NoError(t, j.AddSamples(b))
	require.NoError(t, j.AddSamples(b), "the same samples again change nothing")

	t.Run("downsampled to spans with mean and extremes", func(t *testing.T) {
		got, err := j.ZoneSeries("chilli", start, start.Add(599*time.Minute), 60)
		require.NoError(t, err)
		require.LessOrEqual(t, len(got), 60)
		n := 0
		for i, p := range got {
			n += p.N
			assert.LessOrEqual(t, p.Min, p.Mean)
			assert.LessOrEqual(t, p.Mean, p.Max)
			assert.Equal(t, garden.Known(0.35), p.Refill)
			if i > 0 {
				assert.True(t, p.At.After(got[i-1].At))
			}
		}
		assert.Equal(t, 600, n)
		// The first span is minutes 0 to 9: mean of 0..9 thousandths.
		assert.InDelta(t, 0.0045, got[0].Mean, 1e-12)
		assert.Equal(t, 0.009, got[0].Max)
	})
	t.Run("a bad reading is absent, never zero", func(t *testing.T) {
		for p, want := range map[garden.ProbeID]int{"p1": 600, "p2": 0, "p3": 0, "no-such": 0} {
			got, err := j.ProbeSeries(p, start, start.Add(24*time.Hour), 10)
			require.NoError(t, err)
			n := 0
			for _, x := range got {
				n += x.N
			}
			assert.Equal(t, want, n, p)
		}
	})
	t.Run("nonsense spans are empty", func(t *testing.T) {
		for _, points := range []int{0, -1, 5} {
			got, err := j.ZoneSeries("chilli", start.Add(time.Hour), start, points)
			require.NoError(t, err)
			assert.Empty(t, got)
		}
	})
}

func TestReadWhileWriting(t *testing.T) {
	j := open(t, filepath.Join(t.TempDir(), "j.db"))
	var wg sync.WaitGroup
	fail := make(chan error, 4)
	for w := range 2 {
		wg.Go(func() {
			for i := range 50 {
				id := garden.OrderID(w*1000 + i + 1)
				if err := j.Intend(order(id), 2, at(0)); err != nil {
					fail <- err
					return
				}
				if err := j.Settle(delivery(id, 0)); err != nil {
					fail <- err
					return
				}
				if err := j.AddSamples(Batch{Zones: []ZoneSample{{Zone: "chilli", At: at(time.Duration(i) * time.Second), Water: garden.Known(0.4)}}}); err != nil {
					fail <- err
					return
				}
			}
		})
		wg.Go(func() {
			for range 50 {
				if _, err := j.ZoneSeries("chilli", start, start.Add(time.Hour), 10); err != nil {
					fail <- err
					return
				}
				if _, err := j.Unfinished(); err != nil {
					fail <- err
					return
				}
			}
		})
	}
	wg.Wait()
	close(fail)
	for err := range fail {
		require.NoError(t, err)
	}
	past, err := j.DeliveriesSince(start)
	require.NoError(t, err)
	assert.Len(t, past, 100)
	u, err := j.Unfinished()
	require.NoError(t, err)
	assert.Empty(t, u)
}

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

func BenchmarkIntend(b *testing.B) {
	j, _, err := Open(filepath.Join(b.TempDir(), "j.db"))
	require.NoError(b, err)
	defer j.Close()
	id := garden.OrderID(0)
	for b.Loop() {
		id++
		if err := j.Intend(order(id), 2, at(0)); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkSamples(b *testing.B) {
	j, _, err := Open(filepath.Join(b.TempDir(), "j.db"))
	require.NoError(b, err)
	defer j.Close()
	batch := Batch{}
	for range 16 {
		batch.Readings = append(batch.Readings, garden.Reading{Probe: "p", Quality: garden.Good, Water: 0.4})
	}
	i := 0
	for b.Loop() {
		i++
		for k := range batch.Readings {
			batch.Readings[k].At = at(time.Duration(i*16+k) * time.Second)
		}
		if err := j.AddSamples(batch); err != nil {
			b.Fatal(err)
		}
	}
}

package journal

import (
	"math"
	"path/filepath"
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
		assert.Len(t, got, 2, "back in 1970 all counts but what the board was up for a day after")
	})
	t.Run("of boots without a clock recent leaves out what is a day ago by how long they were up", func(t *testing.T) {
		path := filepath.Join(t.TempDir(), "j.db")
		// Each boot begins in 1970 and gives something in its first and twentieth hour.
		var id garden.OrderID
		boot := func(name string, hours ...time.Duration) {
			j := open(t, path, WithClock(name))
			for _, h := range hours {
				id++
				d := delivery(id, h*time.Hour-10*time.Minute)
				for _, m := range []*garden.Moment{&d.OpenedAt, &d.ClosedAt} {
					m.Wall, m.Synced = time.Unix(0, 0).Add(m.Mono), false
				}
				require.NoError(t, j.Settle(d))
			}
			require.NoError(t, j.Close())
		}
		recent := func(name string, up time.Duration) (ids []garden.OrderID) {
			j := open(t, path, WithClock(name))
			defer j.Close()
			past, err := j.Recent(garden.Moment{Mono: up, Wall: time.Unix(0, 0).Add(up)})
			require.NoError(t, err)
			for _, d := range past {
				ids = append(ids, d.Order)
			}
			return ids
		}
		boot("a", 1, 20)
		boot("b", 1, 20)
		assert.Equal(t, []garden.OrderID{2, 3, 4}, recent("c", time.Minute), "1 is at least 19 and 20 hours ago")
		assert.Equal(t, []garden.OrderID{4}, recent("b", 26*time.Hour), "3 was 25 hours ago on the same clock")
		boot("c", 1)
		assert.Equal(t, []garden.OrderID{2, 3, 4, 5}, recent("d", time.Minute), "2 is 1 and 20 hours ago at the least")
		boot("c", 5)
		assert.Equal(t, []garden.OrderID{4, 5, 6}, recent("d", time.Minute), "and now 5 and 20; 3 is 19, 5 and a minute")
		// What one boot settles of another's stands between that one's own.
		boot("e", 3)
		boot("c", 2)
		boot("e", 4)
		assert.Equal(t, []garden.OrderID{4, 5, 6, 7, 8, 9}, recent("e", 4*time.Hour), "3 is 19, 5 and 4 hours ago, and no clock counts twice")
		// With a clock that is right the wall decides.
		j := open(t, path, WithClock("e"))
		defer j.Close()
		past, err := j.Recent(garden.Moment{Mono: 4 * time.Hour, Wall: time.Unix(0, 0).Add(20 * time.Hour), Synced: true})
		require.NoError(t, err)
		assert.Len(t, past, 9)
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

package journal

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"fabricpot/control/feed"
	"fabricpot/control/feeding"
	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// lived is a journal with something of all that a start reads, and how long its pages
// are, bytes.
func lived(t *testing.T, path string) (page int) {
	t.Helper()
	require.NoError(t, open(t, path, WithClock("an earlier boot")).Close()) // the fresh one numbers otherwise
	j := open(t, path, WithClock("boot a"))
	for id := garden.OrderID(1); id <= 5; id++ {
		require.NoError(t, j.Intend(order(id), 2, at(time.Duration(id)*time.Hour)))
		if id < 5 {
			require.NoError(t, j.Settle(delivery(id, time.Duration(id)*time.Hour)))
		}
	}
	require.NoError(t, j.AddAsk(at(time.Hour), garden.Ask{Kind: garden.AskShut, Zone: "a", Until: at(100 * time.Hour), Who: "test"}, ""))
	require.NoError(t, j.AddAsk(at(2*time.Hour), garden.Ask{Kind: garden.AskAutoOff, Who: "test"}, ""))
	require.NoError(t, j.AddFeedSteps([]feed.Record{{Kind: feed.Begun, Zone: "a", Feed: 1, At: start, Litres: 1}}))
	require.NoError(t, j.KeepLedgers([]feeding.Snapshot{{Zone: "a", At: start}}))
	require.NoError(t, j.SetMeta("learned", `{"zones":[]}`))
	require.NoError(t, j.KeepLimits([]byte(`{"a":1}`)))
	_, err := j.Started(at(0), time.Minute)
	require.NoError(t, err)
	require.NoError(t, j.KeepSpent(at(0)))
	require.NoError(t, j.CountSpent(at(0), Spent{Crashes: 3}))
	var b Batch
	for i := range 400 {
		b.Readings = append(b.Readings, garden.Reading{Probe: "a", At: at(time.Duration(i) * time.Minute), Water: 0.2, Volts: 1.5, Quality: garden.Good})
	}
	require.NoError(t, j.AddSamples(b))
	require.NoError(t, j.read.QueryRow("PRAGMA page_size").Scan(&page))
	require.NoError(t, j.Close())
	return page
}

// rootOf is the number of a table's first page, from 1.
func rootOf(t *testing.T, path, table string) (root int) {
	t.Helper()
	db, err := single(path, "ro")
	require.NoError(t, err)
	defer db.Close()
	require.NoError(t, db.QueryRow("SELECT rootpage FROM sqlite_schema WHERE name=?", table).Scan(&root))
	return root
}

// TestSalvage breaks a journal in places and sees that the fresh one knows what the
// other places still tell, and tells what is lost; it is marked until that is told.
func TestSalvage(t *testing.T) {
	for _, c := range []struct {
		name string
		// broken are the tables whose first page is overwritten; none: the header is.
		broken             []string
		given, asked, fed  bool
		says, doesNotSay   string
		learned, sameClock bool
	}{
		{"samples", []string{"recent_samples"}, true, true, true, "what a start needs of it could be read", "lost", true, true},
		{"requests", []string{"asks"}, true, false, true, whatAsked, whatGiven, true, true},
		{"deliveries", []string{"outcomes", "intents"}, false, true, true, whatGiven, whatAsked, true, true},
		{"an index", []string{"outcomes_closed"}, true, true, true, "what a start needs of it could be read", "lost", true, true},
		{"feeds", []string{"feed_steps"}, true, true, false, whatFed, whatAsked, true, true},
		{"small values", []string{"meta"}, true, true, true, "what was learnt", whatAsked, false, true},
		{"clocks", []string{"clocks"}, true, true, true, "what a start needs of it could be read", "lost", true, false},
		{"the header", nil, false, false, false, "nothing of it can be read", "lost", false, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "j.db")
			page := lived(t, path)
			text, err := os.ReadFile(path)
			require.NoError(t, err)
			if c.broken == nil {
				clear(text[:page])
			}
			for _, table := range c.broken {
				first := (rootOf(t, path, table) - 1) * page
				for i := range page {
					text[first+i] = 0xA5
				}
			}
			require.NoError(t, os.WriteFile(path, text, 0o600))
			j, aside, err := Open(path, WithClock("boot a"), WithNow(func() time.Time { return start }))
			require.NoError(t, err)
			defer j.Close()
			kept, err := os.ReadFile(path + ".broken-20310601T050000Z")
			require.NoError(t, err)
			assert.Equal(t, text, kept, "nothing of the broken file may change")
			assert.Contains(t, aside, c.says)
			assert.NotContains(t, aside, c.doesNotSay)

			unfinished, err := j.Unfinished()
			require.NoError(t, err)
			past, err := j.Recent(at(6 * time.Hour))
			require.NoError(t, err)
			standing, err := j.Standing(start.Add(6 * time.Hour))
			require.NoError(t, err)
			steps, err := j.FeedSteps(time.UTC)
			require.NoError(t, err)
			last, err := j.LastOrderID()
			require.NoError(t, err)
			_, learned, err := j.Meta("learned")
			require.NoError(t, err)
			held, same, err := j.Limits()
			require.NoError(t, err)
			assert.Equal(t, c.learned, learned)
			if c.learned {
				assert.JSONEq(t, `{"a":1}`, string(held))
				assert.Equal(t, c.sameClock, same)
				crashes, err := j.Started(at(time.Second), time.Minute)
				require.NoError(t, err)
				assert.Equal(t, Starts{Crashes: 1, Crashed: c.sameClock}, crashes, "by the wall where the clock is nobody's")
				spent, ok, err := j.Spent(garden.Moment{Mono: at(2 * time.Hour).Mono})
				require.NoError(t, err)
				assert.True(t, ok)
				assert.Equal(t, Spent{Ago: map[bool]time.Duration{true: 2 * time.Hour}[c.sameClock], Known: c.sameClock, Crashes: 3}, spent)
			}
			if c.given {
				require.Len(t, unfinished, 1)
				assert.Equal(t, garden.OrderID(5), unfinished[0].Order.ID)
				assert.Equal(t, c.sameClock, unfinished[0].SameClock)
				require.Len(t, past, 4)
				assert.Equal(t, c.sameClock, past[3].SameClock)
				assert.Equal(t, delivery(4, 4*time.Hour).Litres, past[3].Litres)
				assert.Equal(t, garden.OrderID(5), last)
			} else {
				assert.Empty(t, unfinished)
				assert.Empty(t, past)
			}
			assert.Len(t, standing, map[bool]int{true: 2}[c.asked])
			assert.Len(t, steps, map[bool]int{true: 1}[c.fed])

			what, err := j.Broken()
			require.NoError(t, err)
			assert.Equal(t, aside, what)
			require.NoError(t, j.Close())
			again := open(t, path)
			what, err = again.Broken()
			require.NoError(t, err)
			assert.Equal(t, aside, what, "until it is told")
			require.NoError(t, again.BrokenTold())
			what, err = again.Broken()
			require.NoError(t, err)
			assert.Empty(t, what)
			require.NoError(t, again.Intend(order(last+1), 2, at(7*time.Hour)), "and it goes on")
		})
	}
}

// TestSalvageTakesNoNonsense: what is not of its column's kind, or no amount, is not
// taken over: a start that can't read it would open nothing.
func TestSalvageTakesNoNonsense(t *testing.T) {
	for n, change := range []string{
		`UPDATE outcomes SET id=9223372036854775807 WHERE id=4`,
		`UPDATE outcomes SET litres=1e300 WHERE id=4`,
		`UPDATE outcomes SET litres=-1 WHERE id=4`,
		`UPDATE outcomes SET metered=7 WHERE id=4`,
		`UPDATE intents SET at_mono='early' WHERE id=4`,
		`UPDATE intents SET kind=300 WHERE id=4`,
		`UPDATE asks SET kind='off' WHERE id=1`,
		`UPDATE asks SET zone=x'07' WHERE id=1`,
		`UPDATE feed_steps SET litres=-1`,
		`UPDATE feed_ledgers SET body='{'`,
	} {
		t.Run(fmt.Sprint(n), func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "j.db")
			page := lived(t, path)
			db, err := single(path, "rw")
			require.NoError(t, err)
			_, err = db.Exec(change)
			require.NoError(t, err)
			require.NoError(t, db.Close())
			text, err := os.ReadFile(path)
			require.NoError(t, err)
			first := (rootOf(t, path, "recent_samples") - 1) * page
			for i := range page {
				text[first+i] = 0xA5
			}
			require.NoError(t, os.WriteFile(path, text, 0o600))
			j, aside, err := Open(path, WithClock("boot a"))
			require.NoError(t, err)
			defer j.Close()
			assert.Contains(t, aside, "could not be read whole of")
			_, err = j.Unfinished()
			require.NoError(t, err)
			past, err := j.Recent(at(6 * time.Hour))
			require.NoError(t, err)
			for _, d := range past {
				assert.InDelta(t, 1, d.Litres, 2)
			}
			_, err = j.Standing(start)
			require.NoError(t, err)
			_, err = j.Fed(start)
			require.NoError(t, err)
			last, err := j.LastOrderID()
			require.NoError(t, err)
			assert.LessOrEqual(t, last, garden.OrderID(5))
		})
	}
}

// TestSalvageAfterARollback: a clock that went with the rows of one table is written
// again for those of the next, or the next boot has its number.
func TestSalvageAfterARollback(t *testing.T) {
	dir := t.TempDir()
	broken := filepath.Join(dir, "broken.db")
	lived(t, broken)
	old, why := reader(broken)
	require.NotNil(t, old, why)
	defer func() { _ = old.shut() }()
	path := filepath.Join(dir, "j.db")
	j := open(t, path, WithClock("boot b"))
	clocks := clockMap{j: j, names: map[int64]string{}, of: map[int64]int64{}, from: "broken.db"}
	clocks.read(old)
	_, err := j.easy.Exec("CREATE TRIGGER refuses BEFORE INSERT ON intents WHEN NEW.id=2 BEGIN SELECT RAISE(ABORT,'no'); END")
	require.NoError(t, err)
	parts := rescued()
	intents, outcomes := &parts[0], &parts[1]
	rows, whole := intents.rows(old)
	require.True(t, whole)
	require.Error(t, j.takeOver(context.Background(), intents, rows, &clocks))
	rows, whole = outcomes.rows(old)
	require.True(t, whole)
	require.NoError(t, j.takeOver(context.Background(), outcomes, rows, &clocks))
	require.NoError(t, j.Close())
	for _, boot := range []string{"boot c", "boot a"} {
		j = open(t, path, WithClock(boot))
		past, err := j.Recent(at(6 * time.Hour))
		require.NoError(t, err)
		require.Len(t, past, 4)
		assert.Equal(t, boot == "boot a", past[3].SameClock, boot)
		require.NoError(t, j.Close())
	}
}

// TestSalvageInChunks: of more rows than can be written, or than there is time for, the
// newest are taken over.
func TestSalvageInChunks(t *testing.T) {
	dir := t.TempDir()
	broken := filepath.Join(dir, "broken.db")
	lived(t, broken)
	db, err := single(broken, "rw")
	require.NoError(t, err)
	outcomes := &rescued()[1]
	others := strings.Join(outcomes.names()[1:], ",")
	_, err = db.Exec("WITH RECURSIVE n(i) AS (VALUES(5) UNION ALL SELECT i+1 FROM n WHERE i<1200) INSERT INTO outcomes(id," + others + ") SELECT i," + others + " FROM n, outcomes WHERE id=4")
	require.NoError(t, err)
	require.NoError(t, db.Close())
	old, why := reader(broken)
	require.NotNil(t, old, why)
	defer func() { _ = old.shut() }()
	rows, whole := outcomes.rows(old)
	require.True(t, whole)
	require.Len(t, rows, 1200)

	j := open(t, filepath.Join(dir, "j.db"))
	defer j.Close()
	clocks := clockMap{j: j, names: map[int64]string{}, of: map[int64]int64{}, from: "broken.db"}
	clocks.read(old)
	none, stop := context.WithCancel(context.Background())
	stop()
	_, err = j.easy.Exec("CREATE TRIGGER refuses BEFORE INSERT ON outcomes WHEN NEW.id=150 BEGIN SELECT RAISE(ABORT,'no'); END")
	require.NoError(t, err)
	count := func() (n, oldest int) {
		require.NoError(t, j.read.QueryRow("SELECT count(*),coalesce(min(id),0) FROM outcomes").Scan(&n, &oldest))
		return n, oldest
	}
	require.ErrorIs(t, j.takeOver(none, outcomes, rows, &clocks), context.Canceled)
	n, _ := count()
	assert.Zero(t, n)
	require.ErrorContains(t, j.takeOver(context.Background(), outcomes, rows, &clocks), "no")
	n, oldest := count()
	assert.Equal(t, 1000, n)
	assert.Equal(t, 201, oldest)
}

// TestStartCutShort: a start that dies between setting a broken file aside and beginning
// the fresh one leaves that to the next, and one that comes much later begins anew.
func TestStartCutShort(t *testing.T) {
	for _, late := range []time.Duration{time.Minute, 48 * time.Hour} {
		path := filepath.Join(t.TempDir(), "j.db")
		lived(t, path)
		_, to, err := setAside(path, "test", start)
		require.NoError(t, err)
		j, aside, err := Open(path, WithNow(func() time.Time { return start.Add(late) }))
		require.NoError(t, err)
		defer j.Close()
		what, err := j.Broken()
		require.NoError(t, err)
		assert.Equal(t, aside, what)
		standing, err := j.Standing(start)
		require.NoError(t, err)
		if late > cutShortFor {
			assert.Empty(t, what)
			assert.Empty(t, standing)
			continue
		}
		assert.Contains(t, what, to)
		assert.Len(t, standing, 2)
	}
}

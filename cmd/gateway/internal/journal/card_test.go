package journal

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"time"

	"fabricpot/cmd/gateway/internal/smallcard"
	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// sector is what a card writes whole, bytes: a power cut tears between sectors,
// and those not yet synced may have reached it in any order (from memory).
const sector = 512

// TestTornWrites cuts the power within every write of a row of intents and
// outcomes: what had been acknowledged is there afterwards, what had not is there
// whole or not at all, and no journal is put aside for it.
func TestTornWrites(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "j.db")
	j := open(t, path, WithClock("boot a"))
	size := func() int {
		st, err := os.Stat(path + "-wal")
		require.NoError(t, err)
		return int(st.Size())
	}
	// kept[i] is the length of the log once i operations were acknowledged.
	kept := []int{size()}
	const orders = 12
	for id := garden.OrderID(1); id <= orders; id++ {
		at0 := time.Duration(id) * time.Hour
		require.NoError(t, j.Intend(order(id), 2, at(at0)))
		kept = append(kept, size())
		require.NoError(t, j.Settle(delivery(id, at0)))
		kept = append(kept, size())
	}
	base, err := os.ReadFile(path)
	require.NoError(t, err)
	log, err := os.ReadFile(path + "-wal")
	require.NoError(t, err)
	require.Len(t, log, kept[len(kept)-1])
	require.NoError(t, j.Close())

	cuts := 0
	for done := range len(kept) - 1 {
		cutWithin(t, filepath.Join(dir, fmt.Sprintf("cut-%d", done)), base, log, kept[done], kept[done+1], 6, func(back *Journal, at1 string) {
			cuts++
			open, err := back.Unfinished()
			require.NoError(t, err)
			past, err := back.Recent(at((orders + 1) * time.Hour))
			require.NoError(t, err)
			// Each order is an intent and then an outcome.
			found := 2*len(past) + len(open)
			assert.GreaterOrEqual(t, found, done, "acknowledged and gone: operation %d %s", done+1, at1)
			assert.LessOrEqual(t, found, done+1)
			require.LessOrEqual(t, len(open), 1)
			require.NoError(t, back.Intend(order(orders+1), 2, at((orders+2)*time.Hour)), "and it goes on")
		})
	}
	assert.Greater(t, cuts, 100)
}

// cutWithin cuts the power so many times while the log grew from one length to
// another, and hands over what is there afterwards, which is put aside for no cut.
func cutWithin(t *testing.T, name string, base, log []byte, from, to, times int, then func(back *Journal, cut string)) {
	t.Helper()
	rng := rand.New(rand.NewPCG(3, uint64(from)))
	require.Greater(t, to, from, "each operation is a write of its own")
	for n := range times {
		torn := append([]byte(nil), log[:from+rng.IntN(to-from)]...)
		// Of what was not synced some sectors are not there, or are rubbish.
		for at := (from + sector - 1) / sector * sector; at+sector <= len(torn); at += sector {
			switch rng.IntN(4) {
			case 0:
				clear(torn[at : at+sector])
			case 1:
				for i := range sector {
					torn[at+i] = byte(rng.Uint32())
				}
			}
		}
		file := fmt.Sprintf("%s-%d.db", name, n)
		require.NoError(t, os.WriteFile(file, base, 0o600))
		require.NoError(t, os.WriteFile(file+"-wal", torn, 0o600))
		back, aside, err := Open(file, WithClock("boot a"))
		require.NoError(t, err)
		cut := fmt.Sprintf("cut at %d of %d", len(torn), to)
		require.Empty(t, aside, cut)
		then(back, cut)
		require.NoError(t, back.Close())
	}
}

// TestTornSamples cuts the power within batches of samples and while they are sorted
// in: those that had been acknowledged are there once, a batch is there whole or not
// at all, and the spans count what was sorted in, no less and nothing twice.
func TestTornSamples(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "j.db")
	j := open(t, path, WithClock("boot a"))
	const names = 3
	add := func(j *Journal, i int) {
		var b Batch
		for n := range names {
			name, m := string(rune('a'+n)), at(time.Duration(i)*10*time.Minute)
			b.Zones = append(b.Zones, ZoneSample{Zone: garden.ZoneID(name), At: m, Water: garden.Known(0.2)})
			b.Readings = append(b.Readings, garden.Reading{Probe: garden.ProbeID(name), At: m, Water: 0.2, Volts: 1.5, Quality: garden.Good})
		}
		require.NoError(t, j.AddSamples(b))
	}
	count := func(j *Journal, q string, args ...any) (n int) {
		require.NoError(t, j.read.QueryRow(q, args...).Scan(&n))
		return n
	}
	var kept []int
	size := func() {
		st, err := os.Stat(path + "-wal")
		require.NoError(t, err)
		kept = append(kept, int(st.Size()))
	}
	size()
	for i := range sortAfter {
		add(j, i)
		size()
	}
	require.Zero(t, count(j, `SELECT count(*) FROM recent_zones`), "the last batch sorts them in")
	base, err := os.ReadFile(path)
	require.NoError(t, err)
	log, err := os.ReadFile(path + "-wal")
	require.NoError(t, err)
	require.Len(t, log, kept[len(kept)-1])
	require.NoError(t, j.Close())

	// sound looks at a journal and returns how many batches are there.
	sound := func(j *Journal, cut string) int {
		found := count(j, `SELECT count(*) FROM all_zones`)
		require.Zero(t, found%names, "a part of a batch: %s", cut)
		assert.Equal(t, found, count(j, `SELECT count(*) FROM all_samples`), cut)
		assert.Equal(t, found, count(j, `SELECT count(*) FROM (SELECT DISTINCT zone,at_wall FROM all_zones)`), "twice: %s", cut)
		for _, length := range spanLengths() {
			assert.Equal(t, count(j, `SELECT count(*) FROM zones`), count(j, `SELECT coalesce(sum(n),0) FROM spans WHERE length=?`, length.Milliseconds()), "spans of %v: %s", length, cut)
		}
		return found / names
	}
	// The last batch is two transactions: itself, and its being sorted in.
	last := kept[sortAfter-1]
	mid := last + committed(log[last:], log)
	kept = append(kept[:sortAfter], mid, kept[sortAfter])
	unsorted := 0
	for op := range len(kept) - 1 {
		done, times := min(op, sortAfter), 3
		if op >= sortAfter-1 {
			times = 30
		}
		cutWithin(t, filepath.Join(dir, fmt.Sprintf("cut-%d", op)), base, log, kept[op], kept[op+1], times, func(back *Journal, cut string) {
			found := sound(back, cut)
			assert.GreaterOrEqual(t, found, done, "acknowledged and gone: %s", cut)
			assert.LessOrEqual(t, found, min(done+1, sortAfter), cut)
			if found == sortAfter && count(back, `SELECT count(*) FROM recent_zones`) > 0 {
				unsorted++
			}
			add(back, sortAfter)
			assert.Equal(t, found+1, sound(back, "and it goes on: "+cut))
			if found > 0 {
				assert.Zero(t, count(back, `SELECT count(*) FROM recent_zones`), "what was left is sorted in")
			}
		})
	}
	assert.Positive(t, unsorted, "cut between the last batch and its being sorted in")
}

// committed is how long the first transaction of these frames of a write-ahead log is,
// bytes (SQLite's file format, section 4.1: a frame header of 24 bytes, whose second
// word is not zero in the frame that commits, and a page, whose size is the third word
// of the log's header; from memory).
func committed(frames, log []byte) int {
	frame := 24 + int(binary.BigEndian.Uint32(log[8:]))
	for at := 0; at+frame <= len(frames); at += frame {
		if binary.BigEndian.Uint32(frames[at+4:]) != 0 {
			return at + frame
		}
	}
	return len(frames)
}

// TestFullCard fills a small file system under a journal: the error is told as
// the card's, nothing acknowledged is lost, and once there is room it goes on.
func TestFullCard(t *testing.T) { smallcard.On(t, "2m", fullCard) }

func fullCard(t *testing.T, dir string) {
	path := filepath.Join(dir, "j.db")
	j, _, err := Open(path, WithClock("boot a"))
	require.NoError(t, err)
	defer j.Close()
	ballast := filepath.Join(dir, "ballast")
	smallcard.Brim(t, ballast)

	last := garden.OrderID(0)
	for id := garden.OrderID(1); err == nil && id < 5000; id++ {
		if err = j.Intend(order(id), 2, at(time.Duration(id)*time.Second)); err == nil {
			last = id
		}
	}
	require.Error(t, err, "the card never filled")
	assert.True(t, CardFault(errors.Unwrap(err)) || CardFault(err), "%v", err)
	assert.ErrorContains(t, err, "full")
	open, err := j.Unfinished()
	require.NoError(t, err, "it can still be read")
	assert.Len(t, open, int(last))

	require.NoError(t, os.Remove(ballast))
	require.NoError(t, j.Intend(order(last+2), 2, at(48*time.Hour)), "once there is room")
	require.NoError(t, j.Close())
	back, aside, err := Open(path, WithClock("boot a"))
	require.NoError(t, err)
	defer back.Close()
	require.Empty(t, aside)
	open, err = back.Unfinished()
	require.NoError(t, err)
	assert.Len(t, open, int(last)+1)
}

// TestCardFailsUnderAJournal has the kernel turn a card read-only under an open journal,
// as it does with one that fails: each write's error is told as the card's, it can still
// be read, a start is told the same, and once the card can be written again what had been
// acknowledged is there and nothing else.
func TestCardFailsUnderAJournal(t *testing.T) { smallcard.Failing(t, cardFails) }

func cardFails(t *testing.T, c *smallcard.Card) {
	path := filepath.Join(c.Dir, "j.db")
	j, _, err := Open(path, WithClock("boot a"))
	require.NoError(t, err)
	require.NoError(t, j.Intend(order(1), 2, at(time.Second)))
	require.NoError(t, j.Settle(delivery(1, time.Second)))
	require.NoError(t, j.Intend(order(2), 2, at(time.Hour)))
	c.Fail(t)

	for name, write := range map[string]func() error{
		"intend": func() error { return j.Intend(order(3), 2, at(2*time.Hour)) },
		"settle": func() error { return j.Settle(delivery(2, time.Hour)) },
		"raise":  func() error { return j.Raise(2, 3) },
		"ping":   func() error { return j.Ping(at(2 * time.Hour)) },
		"samples": func() error {
			return j.AddSamples(Batch{Zones: []ZoneSample{{Zone: "a", At: at(2 * time.Hour), Water: garden.Known(0.2)}}})
		},
	} {
		err := write()
		require.Error(t, err, name)
		assert.True(t, CardFault(err), "%s: %v", name, err)
		assert.False(t, Damaged(err), "%s: %v", name, err)
	}
	found := func(j *Journal) {
		open, err := j.Unfinished()
		require.NoError(t, err)
		require.Len(t, open, 1)
		assert.Equal(t, order(2).ID, open[0].Order.ID)
		assert.Equal(t, 2.0, open[0].MaxLitres)
		past, err := j.Recent(at(3 * time.Hour))
		require.NoError(t, err)
		require.Len(t, past, 1)
	}
	found(j)
	_, aside, err := Open(path, WithClock("boot a"))
	require.Error(t, err, "a start beside it")
	assert.True(t, CardFault(err), "%v", err)
	assert.Empty(t, aside)
	_ = j.Close() // it can't be checkpointed
	c.Again(t)

	back, aside, err := Open(path, WithClock("boot a"))
	require.NoError(t, err)
	defer back.Close()
	require.Empty(t, aside)
	found(back)
	require.NoError(t, back.Intend(order(3), 2, at(4*time.Hour)))
	require.NoError(t, back.Close())
}

// TestReadOnlyCard starts on a card that is read-only: the error is told as the card's,
// and once it can be written again what had been acknowledged is there.
func TestReadOnlyCard(t *testing.T) { smallcard.On(t, "2m", readOnlyCard) }

func readOnlyCard(t *testing.T, dir string) {
	path := filepath.Join(dir, "j.db")
	j, _, err := Open(path, WithClock("boot a"))
	require.NoError(t, err)
	require.NoError(t, j.Intend(order(1), 2, at(time.Second)))
	require.NoError(t, j.Close())
	smallcard.ReadOnly(t, dir, true)
	for _, name := range []string{"j.db", "new.db"} {
		_, aside, err := Open(filepath.Join(dir, name), WithClock("boot a"))
		require.Error(t, err, name)
		assert.True(t, CardFault(err), "%s: %v", name, err)
		assert.Empty(t, aside, name)
	}

	smallcard.ReadOnly(t, dir, false)
	back, aside, err := Open(path, WithClock("boot a"))
	require.NoError(t, err)
	defer back.Close()
	require.Empty(t, aside)
	open, err := back.Unfinished()
	require.NoError(t, err)
	assert.Len(t, open, 1)
}

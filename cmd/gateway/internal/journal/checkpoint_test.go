package journal

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// checkpointed is a journal's main file before and after its log was written into it, the
// log, how long a page is and how many orders are in it.
type checkpointed struct {
	before, after, log []byte
	page, orders       int
}

func newCheckpointed(t *testing.T) checkpointed {
	t.Helper()
	c := checkpointed{orders: 60}
	path := filepath.Join(t.TempDir(), "j.db")
	j := open(t, path, WithClock("boot a"))
	read := func(what string) []byte {
		b, err := os.ReadFile(path + what)
		require.NoError(t, err)
		return b
	}
	write := func(from, to int) {
		for i := from; i < to; i++ {
			id, m := garden.OrderID(i+1), time.Duration(i+1)*time.Minute
			require.NoError(t, j.Intend(order(id), 2, at(m)))
			require.NoError(t, j.Settle(delivery(id, m)))
			require.NoError(t, j.AddSamples(Batch{
				Zones:    []ZoneSample{{Zone: "a", At: at(m), Water: garden.Known(0.2)}},
				Readings: []garden.Reading{{Probe: "a", At: at(m), Water: 0.2, Volts: 1.5, Quality: garden.Good}},
			}))
		}
	}
	checkpoint := func() {
		var busy, frames, done int
		require.NoError(t, j.easy.QueryRow("PRAGMA wal_checkpoint(PASSIVE)").Scan(&busy, &frames, &done))
		require.Zero(t, busy)
		require.Positive(t, done)
		require.Equal(t, frames, done, "the whole log")
	}
	require.NoError(t, j.read.QueryRow("PRAGMA page_size").Scan(&c.page))
	write(0, c.orders/2)
	checkpoint()
	c.before = read("")
	write(c.orders/2, c.orders)
	c.log = read("-wal")
	checkpoint()
	c.after = read("")
	require.Equal(t, c.log, read("-wal"), "a checkpoint leaves the log whole until the next write after it")
	require.NoError(t, j.Close())
	require.Greater(t, len(c.after), len(c.before))
	return c
}

// changed are the pages that the checkpoint writes, from 0.
func (c *checkpointed) changed() (pages []int) {
	for p := 0; p*c.page < len(c.after); p++ {
		to := (p + 1) * c.page
		if to > len(c.before) || !bytes.Equal(c.before[p*c.page:to], c.after[p*c.page:to]) {
			pages = append(pages, p)
		}
	}
	return pages
}

// sound opens a main file with the log and sees that nothing is lost, that SQLite finds
// nothing wrong in the whole file, and that it goes on.
func (c *checkpointed) sound(t *testing.T, main []byte, what string) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "j.db")
	require.NoError(t, os.WriteFile(path, main, 0o600))
	require.NoError(t, os.WriteFile(path+"-wal", c.log, 0o600))
	j, aside, err := Open(path, WithClock("boot a"))
	require.NoError(t, err, what)
	defer j.Close()
	require.Empty(t, aside, what)
	past, err := j.Recent(at(2 * time.Hour))
	require.NoError(t, err, what)
	assert.Len(t, past, c.orders, what)
	open, err := j.Unfinished()
	require.NoError(t, err, what)
	assert.Empty(t, open, what)
	var samples int
	require.NoError(t, j.read.QueryRow("SELECT count(*) FROM all_samples").Scan(&samples), what)
	assert.Equal(t, c.orders, samples, what)
	var verdict string
	require.NoError(t, j.read.QueryRow("PRAGMA integrity_check").Scan(&verdict), what)
	assert.Equal(t, "ok", verdict, what)
	require.NoError(t, j.Intend(order(garden.OrderID(c.orders+1)), 2, at(3*time.Hour)), what)
	require.NoError(t, j.Close(), what)
}

// TestTornCheckpoint cuts the power while the log is written into the main file: of its
// pages some are new and some old, the file is as long as it was or will be, and each
// page in turn is torn: half of it new, or a sector of it rubbish, the header among them. The log beneath is
// whole, and with it nothing is lost. Where it is not there the same files are broken, or
// the test would show nothing.
func TestTornCheckpoint(t *testing.T) {
	c := newCheckpointed(t)
	pages := c.changed()
	require.Greater(t, len(pages), 10)
	at := func(file []byte, p int) []byte { return file[p*c.page : (p+1)*c.page] }
	grown := func(n int) []byte { // the old file, n pages of the new one's further length there
		return append(bytes.Clone(c.before), make([]byte, n*c.page)...)
	}
	more := (len(c.after) - len(c.before)) / c.page
	cuts, broken := 0, 0
	try := func(main []byte, what string) {
		cuts++
		c.sound(t, main, what)
		path := filepath.Join(t.TempDir(), "bare.db")
		require.NoError(t, os.WriteFile(path, main, 0o600))
		j, aside, err := Open(path)
		require.NoError(t, err)
		past, err := j.DeliveriesSince(start)
		if aside != "" || err != nil || len(past) < c.orders {
			broken++
		}
		require.NoError(t, j.Close())
	}
	rng := rand.New(rand.NewPCG(4, 1))
	for n := range 16 {
		main := grown(rng.IntN(more + 1))
		for _, p := range pages {
			if (p+1)*c.page <= len(main) && rng.IntN(2) == 0 {
				copy(at(main, p), at(c.after, p))
			}
		}
		try(main, fmt.Sprintf("mixed %d", n))
	}
	for _, p := range pages {
		main := grown(more)
		for _, q := range pages {
			if q < p {
				copy(at(main, q), at(c.after, q)) // a checkpoint goes through them in order
			}
		}
		torn := bytes.Clone(main)
		copy(at(torn, p)[:c.page/2], at(c.after, p))
		try(torn, fmt.Sprintf("page %d torn in half", p+1))
		torn = bytes.Clone(main)
		copy(at(torn, p), at(c.after, p))
		rubbish := at(torn, p)[rng.IntN(c.page/sector)*sector:][:sector]
		for i := range rubbish {
			rubbish[i] = byte(rng.Uint32())
		}
		try(torn, fmt.Sprintf("a sector of page %d is rubbish", p+1))
	}
	require.Zero(t, pages[0], "the log has the first page")
	main := bytes.Clone(c.after)
	for i := range sector {
		main[i] = byte(rng.Uint32())
	}
	try(main, "the header is rubbish")
	t.Logf("%d cuts, %d pages changed; without the log %d of them are broken or short", cuts, len(pages), broken)
	assert.Greater(t, broken, cuts/2)
}

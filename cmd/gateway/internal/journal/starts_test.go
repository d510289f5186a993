package journal

import (
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestStarts: a gateway that crashed did so by the time the next one began, however
// long it had run; one that stopped in good order, whose power was cut on another clock
// long ago or whose age nothing tells does not count.
func TestStarts(t *testing.T) {
	const span = 10 * time.Minute
	path := filepath.Join(t.TempDir(), "j.db")
	boot := func(clock string) *Journal {
		j, _, err := Open(path, WithClock(clock))
		require.NoError(t, err)
		return j
	}
	j := boot("a")
	begin := func(minute int, beside ...BesideStart) Starts {
		t.Helper()
		s, err := j.StartedAfter(at(time.Duration(minute)*time.Minute), span, beside)
		require.NoError(t, err)
		return s
	}
	assert.Equal(t, Starts{}, begin(0), "the first of all")
	assert.Equal(t, Starts{1, true}, begin(5000), "it ran for days, and crashed just now")
	assert.Equal(t, Starts{2, true}, begin(5004))
	assert.Equal(t, Starts{3, true}, begin(5008))
	assert.Equal(t, Starts{3, true}, begin(5011), "the first is too long ago")
	require.NoError(t, j.Stopped())
	assert.Equal(t, Starts{3, false}, begin(5014), "the last one was told to stop")
	require.NoError(t, j.Close())

	j = boot("b") // the power was cut
	now := at(5020 * time.Minute)
	now.Mono = time.Minute
	s, err := j.Started(now, span)
	require.NoError(t, err)
	assert.Equal(t, Starts{2, false}, s, "one that crashed into its start at 5011, and the last by its start at 5014")
	now.Synced = false
	s, err = j.Started(now, span)
	require.NoError(t, err)
	assert.Equal(t, Starts{1, true}, s, "without a time only those of this clock")
	assert.Equal(t, Starts{}, begin(9000, BesideStart{At: at(8980 * time.Minute), SameClock: true, Clean: true}), "what was noted beside came later")
	assert.Equal(t, Starts{2, true}, begin(9010, BesideStart{At: at(9005 * time.Minute), SameClock: true}), "and is taken in")
	require.NoError(t, j.Close())
}

// TestSpent: that the restart budget was spent is known to the next lives, by this
// clock or by the time; a life that can't tell how long ago does not lose it for one that
// can. Once it was given back the crashes before count no more.
func TestSpent(t *testing.T) {
	path := filepath.Join(t.TempDir(), "j.db")
	boot := func(clock string) *Journal {
		j, _, err := Open(path, WithClock(clock))
		require.NoError(t, err)
		return j
	}
	j := boot("a")
	_, ok, err := j.Spent(at(time.Hour))
	require.NoError(t, err)
	assert.False(t, ok)
	require.NoError(t, j.KeepSpent(at(time.Hour)))
	s, ok, err := j.Spent(at(4 * time.Hour))
	require.NoError(t, err)
	assert.True(t, ok)
	assert.Equal(t, Spent{Ago: 3 * time.Hour, Known: true}, s)
	require.NoError(t, j.Close())

	j = boot("b")
	now := at(6 * time.Hour)
	now.Mono, now.Synced = time.Minute, false
	s, ok, err = j.Spent(now)
	require.NoError(t, err)
	assert.True(t, ok)
	assert.Equal(t, Spent{}, s)
	s.Crashes = 2
	require.NoError(t, j.CountSpent(now, s))
	now.Synced = true
	s, _, err = j.Spent(now)
	require.NoError(t, err)
	assert.Equal(t, Spent{Ago: 5 * time.Hour, Known: true, Crashes: 2}, s)
	for m := range 4 {
		_, err = j.Started(at(time.Duration(m+1)*time.Minute), time.Hour)
		require.NoError(t, err)
	}
	require.NoError(t, j.ForgetSpent())
	_, ok, err = j.Spent(now)
	require.NoError(t, err)
	assert.False(t, ok)
	past, err := j.Started(at(5*time.Minute), time.Hour)
	require.NoError(t, err)
	assert.Equal(t, Starts{Crashes: 1, Crashed: true}, past, "the life that gave it back crashed after all")
	require.NoError(t, j.Close())
}

// TestBesideSpent: the same where the journal can't be written.
func TestBesideSpent(t *testing.T) {
	path := filepath.Join(t.TempDir(), "unwritten.json")
	life := func(clock string) *Beside {
		b, err := OpenBeside(path, clock)
		require.NoError(t, err)
		return b
	}
	b := life("a")
	_, _, known := b.SpentAs(at(0))
	assert.False(t, known)
	require.NoError(t, b.Started(at(0)))
	require.NoError(t, b.KeepSpent(at(time.Hour)))
	b = life("a")
	s, spent, known := b.SpentAs(at(3 * time.Hour))
	assert.True(t, known && spent)
	assert.Equal(t, Spent{Ago: 2 * time.Hour, Known: true}, s)
	s.Crashes = 3
	require.NoError(t, b.CountSpent(at(3*time.Hour), s))
	b = life("b")
	s, _, _ = b.SpentAs(at(4 * time.Hour))
	assert.Equal(t, Spent{Ago: 3 * time.Hour, Known: true, Crashes: 3}, s, "by the time of day")
	require.NoError(t, b.ForgetSpent(false))
	b = life("b")
	_, spent, known = b.SpentAs(at(5 * time.Hour))
	assert.True(t, known && !spent)
	assert.Empty(t, b.EarlierStarts())
	require.NoError(t, b.ForgetSpent(true))
	assert.NoFileExists(t, path)
	_, _, known = (*Beside)(nil).SpentAs(at(0))
	assert.False(t, known)
	require.NoError(t, (*Beside)(nil).KeepSpent(at(0)))
}

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
// clock or by the time; where nothing tells how long ago, it was just now.
func TestSpent(t *testing.T) {
	path := filepath.Join(t.TempDir(), "j.db")
	j, _, err := Open(path, WithClock("a"))
	require.NoError(t, err)
	_, _, ok, err := j.Spent(at(time.Hour))
	require.NoError(t, err)
	assert.False(t, ok)
	require.NoError(t, j.KeepSpent(at(time.Hour), 2))
	ago, crashes, ok, err := j.Spent(at(4 * time.Hour))
	require.NoError(t, err)
	assert.True(t, ok)
	assert.Equal(t, 3*time.Hour, ago)
	assert.Equal(t, 2, crashes)
	require.NoError(t, j.Close())

	j, _, err = Open(path, WithClock("b"))
	require.NoError(t, err)
	now := at(6 * time.Hour)
	now.Mono = time.Minute
	ago, _, _, err = j.Spent(now)
	require.NoError(t, err)
	assert.Equal(t, 5*time.Hour, ago)
	now.Synced = false
	ago, _, ok, err = j.Spent(now)
	require.NoError(t, err)
	assert.True(t, ok)
	assert.Zero(t, ago)
	require.NoError(t, j.ForgetSpent())
	_, _, ok, err = j.Spent(now)
	require.NoError(t, err)
	assert.False(t, ok)
	require.NoError(t, j.Close())
}

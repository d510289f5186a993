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

// TestBeside: what was given while the journal could not be written is found by the
// next run, once, until the journal has it.
func TestBeside(t *testing.T) {
	path := filepath.Join(t.TempDir(), "unwritten.json")
	reopen := func(clock string) *Beside {
		b, err := OpenBeside(path, clock)
		require.NoError(t, err)
		return b
	}
	b := reopen("boot a")
	assert.Empty(t, b.Unfinished(nil))
	require.NoError(t, b.Intend(order(5), 2, at(time.Hour), false))
	require.NoError(t, b.Intend(order(6), 3, at(2*time.Hour), false))
	require.NoError(t, b.Settle(delivery(5, time.Hour)))
	require.NoError(t, b.Settle(delivery(4, time.Hour)), "not one of these")
	again := delivery(5, time.Hour)
	again.Litres = 99
	require.NoError(t, b.Settle(again), "settled once")

	for clock, same := range map[string]bool{"boot a": true, "boot b": false, "": false} {
		b = reopen(clock)
		left := b.Unfinished([]garden.Intent{{Order: order(3)}, {Order: order(5)}})
		require.Len(t, left, 2, "3 of the journal's, and 5 has ended")
		assert.Equal(t, garden.OrderID(3), left[0].Order.ID)
		assert.Equal(t, garden.OrderID(6), left[1].Order.ID)
		assert.Equal(t, 3.0, left[1].MaxLitres)
		assert.True(t, left[1].At.Wall.Equal(at(2*time.Hour).Wall))
		assert.Equal(t, at(2*time.Hour).Mono, left[1].At.Mono)
		assert.Equal(t, same, left[1].SameClock, clock)
		past := b.Recent([]garden.PastDelivery{{Delivery: delivery(2, 0)}})
		require.Len(t, past, 2)
		assert.False(t, past[0].Unwritten)
		assert.True(t, past[1].Unwritten)
		assert.Equal(t, same, past[1].SameClock, clock)
		assert.Equal(t, delivery(5, time.Hour).Litres, past[1].Litres)
		assert.Len(t, b.Recent([]garden.PastDelivery{{Delivery: delivery(5, time.Hour)}}), 1, "the journal has it")
		assert.Len(t, b.Unfinished([]garden.Intent{{Order: order(6)}}), 1, "it got onto the card after all")
		assert.Equal(t, garden.OrderID(6), b.Last(1))
		assert.Equal(t, garden.OrderID(9), b.Last(9))
	}
	require.NoError(t, b.Forget(5))
	require.NoError(t, b.Forget(5))
	require.NoError(t, b.Forget(6))
	_, err := os.Stat(path)
	assert.ErrorIs(t, err, os.ErrNotExist)

	t.Run("numbers of no journal", func(t *testing.T) {
		b := reopen("boot a")
		require.NoError(t, b.Intend(order(1), 2, at(0), true))
		require.NoError(t, b.Settle(delivery(1, 0)))
		require.NoError(t, b.Intend(order(2), 2, at(0), true))
		b = reopen("boot a")
		require.NoError(t, b.Number(500))
		require.NoError(t, b.Number(600), "they have theirs now")
		b = reopen("boot a")
		assert.Equal(t, garden.OrderID(501), b.Recent(nil)[0].Order)
		assert.Equal(t, garden.OrderID(502), b.Unfinished(nil)[0].Order.ID)
	})
	t.Run("a file that is none", func(t *testing.T) {
		require.NoError(t, os.WriteFile(path, []byte("{"), 0o600))
		b, err := OpenBeside(path, "boot a")
		require.ErrorContains(t, err, path)
		assert.Empty(t, b.Recent(nil))
		require.NoError(t, b.Intend(order(1), 2, at(0), false))
		assert.Len(t, reopen("boot a").Unfinished(nil), 1)
	})
	t.Run("a folder that is gone", func(t *testing.T) {
		b, err := OpenBeside(filepath.Join(path, "no", "folder"), "boot a")
		require.Error(t, err)
		require.Error(t, b.Intend(order(1), 2, at(0), false))
	})
	t.Run("nil remembers nothing", func(t *testing.T) {
		var b *Beside
		require.NoError(t, b.Intend(order(1), 2, at(0), false))
		require.NoError(t, b.Settle(delivery(1, 0)))
		require.NoError(t, b.Forget(1))
		require.NoError(t, b.Number(1))
		assert.Equal(t, garden.OrderID(7), b.Last(7))
		assert.Empty(t, b.Recent(b.Recent(nil)))
		assert.Empty(t, b.Unfinished(nil))
	})
}

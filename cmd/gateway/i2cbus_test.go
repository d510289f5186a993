package main

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestBusNumber finds buses by number and, behind a multiplexer, by where that
// is. The folders are as the kernel's i2c-mux lays them out: the device has a link
// for each channel to the bus it made (Documentation/ABI and i2c-mux.c, from
// memory).
func TestBusNumber(t *testing.T) {
	root := t.TempDir()
	mux := filepath.Join(root, "1-0070")
	require.NoError(t, os.MkdirAll(mux, 0o755))
	require.NoError(t, os.Symlink("../i2c-11", filepath.Join(mux, "channel-0")))
	require.NoError(t, os.Symlink("../../../i2c-1/i2c-14", filepath.Join(mux, "channel-3")))
	require.NoError(t, os.Symlink("../elsewhere", filepath.Join(mux, "channel-4")))
	for name, want := range map[string]int{"/dev/i2c-1": 1, "/dev/i2c-22": 22, "3": 3, "1-0070/channel-0": 11, "1-0070/channel-3": 14} {
		got, err := busNumber(name, root)
		require.NoError(t, err, name)
		assert.Equal(t, want, got, name)
	}
	for name, want := range map[string]string{
		"": "expected a name", "i2c-1": "expected a name", "/dev/i2c-x": "expected a name", "-1": "expected a name", "1 2": "expected a name",
		"1-0070/../channel-0": "expected a name", "1-70/channel-0": "expected a name",
		"1-0070/channel-1": "device tree", "2-0070/channel-0": "device tree", "1-0070/channel-4": "elsewhere",
	} {
		_, err := busNumber(name, root)
		require.ErrorContains(t, err, want, "%q", name)
	}
}

package main

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"
	"time"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/cmd/gateway/internal/page"
	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestBesideInTheRuntimeFolder: what a board's gateway can't write into its journal
// lies in the folder of the running system, where the next finds it.
func TestBesideInTheRuntimeFolder(t *testing.T) {
	run := filepath.Join(t.TempDir(), "fabricpot")
	t.Setenv("RUNTIME_DIRECTORY", run)
	socket := filepath.Join(run, "gateway.sock")
	begin := func(name, socket string) (*runner.Keeper, *bytes.Buffer) {
		j, _, err := journal.Open(filepath.Join(t.TempDir(), name))
		require.NoError(t, err)
		t.Cleanup(func() { _ = j.Close() })
		var told bytes.Buffer
		k := runner.NewKeeper(j)
		keepBeside(streams{out: &told, err: &told}, k, socket)
		return k, &told
	}
	k, told := begin("one.db", socket)
	assert.Empty(t, told.String(), "a folder that is not there yet is made")
	o := garden.Order{ID: 9, Line: "a", Zone: "a", Litres: 1, MaxOn: time.Minute}
	require.NoError(t, k.IntendBeside(o, 1, garden.Moment{Mono: time.Hour}))
	there, err := filepath.Glob(filepath.Join(run, "unwritten-*.json"))
	require.NoError(t, err)
	assert.Len(t, there, 1)
	k, told = begin("other.db", filepath.Join(run, "other.sock"))
	assert.Empty(t, told.String())
	left, err := k.Unfinished()
	require.NoError(t, err)
	assert.Empty(t, left, "what another gateway gave is none of its own")
	k, told = begin("two.db", socket)
	assert.Empty(t, told.String())
	left, err = k.Unfinished()
	require.NoError(t, err)
	require.Len(t, left, 1)
	assert.Equal(t, o, left[0].Order)
	_, err = journal.BootClock()
	assert.Equal(t, err == nil, left[0].SameClock)
}

// TestBesideOfTheServiceForRoot: root's commands on a board share what the service
// remembers, also once it has stopped and its socket is gone.
func TestBesideOfTheServiceForRoot(t *testing.T) {
	run := filepath.Join(t.TempDir(), "fabricpot")
	service := filepath.Join(run, "gateway.sock")
	t.Setenv("RUNTIME_DIRECTORY", run)
	want := besidePathOf(page.DefaultSocket(), serviceSocket, false)
	require.Equal(t, run, filepath.Dir(want))
	t.Setenv("RUNTIME_DIRECTORY", "")
	t.Setenv("XDG_RUNTIME_DIR", t.TempDir())
	own := page.DefaultSocket()
	assert.Equal(t, filepath.Dir(own), filepath.Dir(besidePathOf(own, service, true)), "no service here")
	require.NoError(t, os.Mkdir(run, 0o700))
	assert.Equal(t, want, besidePathOf(own, service, true), "it has stopped")
	assert.Equal(t, want, besidePathOf(service, service, true), "its socket is there")
	assert.NotEqual(t, want, besidePathOf(filepath.Join(run, "other.sock"), service, true))
	assert.Equal(t, filepath.Dir(own), filepath.Dir(besidePathOf(own, service, false)), "somebody else's")
}

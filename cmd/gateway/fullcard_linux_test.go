package main

import (
	"bytes"
	"context"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestCommandsOnAFullCard: who writes a file to a card without room says so, of the
// file that was asked for, and leaves nothing there that stands in the way later.
//
// It runs in a child with mounts of its own, so that none is left behind.
func TestCommandsOnAFullCard(t *testing.T) {
	const env = "GATEWAY_TEST_CARD"
	card := os.Getenv(env)
	if card == "" {
		cmd := exec.Command(os.Args[0], "-test.run=^"+t.Name()+"$", "-test.v")
		cmd.Env = append(os.Environ(), env+"="+t.TempDir())
		cmd.SysProcAttr = &syscall.SysProcAttr{
			Cloneflags:  syscall.CLONE_NEWNS | syscall.CLONE_NEWUSER,
			UidMappings: []syscall.SysProcIDMap{{ContainerID: 0, HostID: os.Getuid(), Size: 1}},
			GidMappings: []syscall.SysProcIDMap{{ContainerID: 0, HostID: os.Getgid(), Size: 1}},
		}
		out, err := cmd.CombinedOutput()
		if _, ran := err.(*exec.ExitError); err != nil && !ran && os.Getenv("GATEWAY_CI") == "" {
			t.Skipf("this kernel gives no mounts of one's own: %v", err)
		}
		require.NoError(t, err, "%s", out)
		require.Contains(t, string(out), "--- PASS: "+t.Name()+"/report")
		return
	}
	require.NoError(t, syscall.Mount("none", card, "tmpfs", 0, "size=64k"))
	file, socket := example(t)
	db := filepath.Join(t.TempDir(), "journal.db")
	j, _, err := journal.Open(db)
	require.NoError(t, err)
	now := garden.Moment{Wall: time.Date(2031, 6, 1, 5, 0, 0, 0, time.UTC), Synced: true}
	require.NoError(t, j.Intend(garden.Order{ID: 1, Line: "chilli", Litres: 1}, 2, now))
	require.NoError(t, j.AddSamples(journal.Batch{Zones: []journal.ZoneSample{{Zone: "chilli", At: now, Water: garden.Known(0.4)}}}))
	require.NoError(t, j.Close())
	filled := filepath.Join(card, "fill")
	f, err := os.Create(filled)
	require.NoError(t, err)
	for err == nil {
		_, err = f.Write(bytes.Repeat([]byte{1}, 4096))
	}
	require.True(t, errors.Is(err, syscall.ENOSPC), "%v", err)
	require.NoError(t, f.Close())

	to := filepath.Join(card, "x")
	for name, c := range map[string]struct {
		args []string
		says string
	}{
		"doctor":  {[]string{"doctor", file, "--socket", socket, "--journal", db, "--out", to}, "bundle: write " + to + ": no space left on device"},
		"report":  {[]string{"report", file, "--journal", db, "--out", to}, "write " + to + ": no space left on device"},
		"backup":  {[]string{"backup", "--journal", db, to}, "back up to " + to + ": database or disk is full"},
		"restore": {[]string{"restore", "--socket", socket, "--journal", to, db}, "journal " + to + ": restore from " + db + ": write "},
	} {
		t.Run(name, func(t *testing.T) {
			code, _, errs := gateway(context.Background(), c.args...)
			assert.Equal(t, exitFailed, code)
			assert.Contains(t, errs.String(), c.says)
			left, err := os.ReadDir(card)
			require.NoError(t, err)
			assert.Len(t, left, 1, "%v", left)
		})
	}
}

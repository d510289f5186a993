package main

import (
	"bytes"
	"context"
	"errors"
	"os"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/cmd/gateway/internal/smallcard"
	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestCommandsOnAFullCard: who writes a file to a card without room says so, of the
// file that was asked for, and leaves nothing there that stands in the way later.
func TestCommandsOnAFullCard(t *testing.T) { smallcard.On(t, "64k", commandsOnAFullCard) }

func commandsOnAFullCard(t *testing.T, card string) {
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

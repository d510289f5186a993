package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"testing"

	"fabricpot/cmd/gateway/internal/season"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestTrialWrongUse(t *testing.T) {
	for name, c := range map[string]struct {
		args []string
		says string
	}{
		"no folder":     {[]string{"trial"}, "--out"},
		"both sizes":    {[]string{"trial", "--quick", "--full", "--out", t.TempDir()}, "exclude"},
		"no such seeds": {[]string{"trial", "--seeds", "-1", "--out", t.TempDir()}, "--seeds"},
		"no such case":  {[]string{"trial", "--only", "lettuce", "--out", t.TempDir()}, `"lettuce"`},
		"an empty word": {[]string{"trial", "--only", "fed,,heat", "--out", t.TempDir()}, "an empty word"},
		"a file":        {[]string{"trial", "garden.yaml", "--out", t.TempDir()}, "garden.yaml"},
	} {
		t.Run(name, func(t *testing.T) {
			code, out, errs := gateway(context.Background(), c.args...)
			assert.Equal(t, exitWrongUse, code)
			assert.Contains(t, errs.String(), c.says)
			assert.Empty(t, out.String())
		})
	}
}

// TestTrialLeavesItsPapers runs a week of the quick trial's first case and of one
// with a fault.
func TestTrialLeavesItsPapers(t *testing.T) {
	set := season.QuickTrial()
	first, last := set.Cases[0], set.Cases[len(set.Cases)-1]
	first.Days, last.Days = 7, 7
	set.Cases, set.Seeds = []season.TrialCase{first, last}, 1
	dir := filepath.Join(t.TempDir(), "not", "there yet")
	var out, errs bytes.Buffer
	require.NoError(t, trial(context.Background(), streams{out: &out, err: &errs}, set, dir))
	assert.Empty(t, errs.String(), "no bar where there is no terminal")
	table, err := os.ReadFile(filepath.Join(dir, "trial.txt"))
	require.NoError(t, err)
	assert.Equal(t, out.String(), string(table))
	for _, name := range []string{"trial.csv", "trial.json", "water-against-stress.svg", "season-of-a-pot.svg", "faults.svg"} {
		s, err := os.Stat(filepath.Join(dir, name))
		require.NoError(t, err)
		assert.Positive(t, s.Size(), name)
	}

	t.Run("of one case there is no table of faults", func(t *testing.T) {
		some, err := set.Only([]string{"seattle"})
		require.NoError(t, err)
		require.Len(t, some.Cases, 1)
		some.Cases[0].Curve = false
		dir := t.TempDir()
		require.NoError(t, trial(context.Background(), streams{out: new(bytes.Buffer), err: &errs}, some, dir))
		assert.NoFileExists(t, filepath.Join(dir, "faults.svg"))
		assert.NoFileExists(t, filepath.Join(dir, "season-of-a-pot.svg"))
		assert.FileExists(t, filepath.Join(dir, "water-against-stress.svg"))
	})

	again := bytes.Buffer{}
	require.NoError(t, trial(context.Background(), streams{out: &again, err: &errs}, set, dir))
	assert.Equal(t, out.String(), again.String(), "finished runs give the same table")
}

package main

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/testdata"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestPlantBounds: the command takes what the page's form takes, and says what it
// expected in the terms in which it was asked.
func TestPlantBounds(t *testing.T) {
	dir := t.TempDir()
	db := filepath.Join(dir, "journal.db")
	j, _, err := journal.Open(db)
	require.NoError(t, err)
	require.NoError(t, j.Close())
	plant := func(args ...string) (int, string) {
		code, out, errs := gateway(context.Background(), append([]string{"plant", "--socket", filepath.Join(dir, "s"), "--garden", hungry(t), "--journal", db}, args...)...)
		return code, out.String() + errs.String()
	}
	for name, c := range map[string]struct {
		args []string
		says string
	}{
		"no plants":           {[]string{"planted", "chilli", "--count", "0"}, "--count 0: expected 1 to 500"},
		"long ago":            {[]string{"planted", "chilli", "--on", "2020-01-01"}, "2020-01-01 is too long ago, expected a day of the last year"},
		"to come":             {[]string{"planted", "chilli", "--on", "2199-01-01"}, "lies ahead"},
		"more than all":       {[]string{"pruned", "chilli", "--leaves", "130"}, "a share of 130 %, expected 0 to 100 %"},
		"nothing pruned":      {[]string{"pruned", "chilli", "--leaves", "0"}, "--leaves 0"},
		"a stage that's none": {[]string{"seen", "chilli", "blooming"}, "growing, flowering, fruiting or ripening"},
		"litres of words":     {[]string{"topped-up", "chilli", "--litres", "some"}, "0.5 gal"},
	} {
		t.Run(name, func(t *testing.T) {
			code, said := plant(c.args...)
			assert.Equal(t, exitWrongUse, code)
			assert.Contains(t, said, c.says)
		})
	}
	code, said := plant("topped-up", "chilli", "--litres", "0.5 gal")
	assert.Equal(t, exitDone, code, said)
	assert.Contains(t, said, "with 1.9 L of mix")

	file := filepath.Join(dir, "dated.yaml")
	src := string(testdata.Terrace)
	const chilli = "{ crop: chilli, canopy"
	require.Contains(t, src, chilli)
	on := time.Now().AddDate(0, 0, -10)
	require.NoError(t, os.WriteFile(file, []byte(strings.Replace(src, chilli, "{ crop: chilli, planted: "+on.Format(time.DateOnly)+", canopy", 1)), 0o600))
	for days, stands := range map[int]bool{-1: true, 0: true, 1: false} {
		code, said := plant("pulled", "chilli", "--garden", file, "--on", on.AddDate(0, 0, days).Format(time.DateOnly))
		require.Equal(t, exitDone, code, said)
		assert.Equal(t, stands, strings.Contains(said, "those stand"), "%d days after they were planted by the file: %s", days, said)
	}
}

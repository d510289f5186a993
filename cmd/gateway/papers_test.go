package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/cmd/gateway/internal/papers"
)

// TestPapers holds the manual to the commands: each that shows in the help has
// its page, and twice the same gives the same bytes.
func TestPapers(t *testing.T) {
	a, b := t.TempDir(), t.TempDir()
	at := time.Date(2031, 6, 1, 0, 0, 0, 0, time.UTC)
	for _, dir := range []string{a, b} {
		require.NoError(t, papers.Write(newRoot(streams{}, openLines), dir, at))
	}
	for _, c := range newRoot(streams{}, openLines).Commands() {
		page := filepath.Join(a, "man1", "gateway-"+c.Name()+".1")
		if c.Hidden {
			assert.NoFileExists(t, page)
			continue
		}
		text, err := os.ReadFile(page)
		require.NoError(t, err)
		assert.Contains(t, string(text), ".TH ", c.Name())
		assert.Contains(t, string(text), "Jun 2031", c.Name())
	}
	require.NoError(t, filepath.WalkDir(a, func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		one, err := os.ReadFile(path)
		require.NoError(t, err)
		two, err := os.ReadFile(strings.Replace(path, a, b, 1))
		require.NoError(t, err)
		assert.NotEmpty(t, one, path)
		assert.Equal(t, string(one), string(two), path)
		return nil
	}))
	bash, err := os.ReadFile(filepath.Join(a, "gateway.bash"))
	require.NoError(t, err)
	assert.Contains(t, string(bash), "__start_gateway")
}

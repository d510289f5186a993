package main

import (
	"context"
	"os"
	"path/filepath"
	"regexp"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestGuideChecksTheInstalledGarden: 'gateway check' alone is about the example, so
// that whoever follows the guide on a board must be told to name the file; and it
// says so itself.
func TestGuideChecksTheInstalledGarden(t *testing.T) {
	guides, err := filepath.Glob(filepath.Join("..", "..", "systemd", "guide", "*.md"))
	require.NoError(t, err)
	require.NotEmpty(t, guides)
	told := 0
	for _, guide := range guides {
		text, err := os.ReadFile(guide)
		require.NoError(t, err)
		for _, m := range regexp.MustCompile("gateway check[^`\n]*").FindAllString(string(text), -1) {
			told++
			assert.Regexp(t, `^gateway check (/etc/fabricpot/garden|my)\.yaml$`, m, guide)
		}
	}
	assert.Greater(t, told, 2)

	_, out, said := gateway(context.Background(), "check")
	assert.Contains(t, said.String(), "no FILE was named: this is the example, testdata/terrace.yaml")
	assert.NotContains(t, out.String(), "no FILE")
	file := filepath.Join(t.TempDir(), "g.yaml")
	src, err := os.ReadFile(filepath.Join("..", "..", "testdata", "terrace.yaml"))
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(file, src, 0o600))
	_, _, said = gateway(context.Background(), "check", file)
	assert.NotContains(t, said.String(), "no FILE")
}

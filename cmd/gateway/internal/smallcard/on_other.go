//go:build !linux

package smallcard

import "testing"

// On skips: mounts of one's own are Linux's.
func On(t *testing.T, _ string, _ func(t *testing.T, dir string)) {
	t.Skip("mounts of one's own are Linux's")
}

// Brim does nothing: On skips.
func Brim(t *testing.T, _ string) { t.Helper() }

// ReadOnly does nothing: On skips.
func ReadOnly(t *testing.T, _ string, _ bool) { t.Helper() }

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

// Failing skips too.
func Failing(t *testing.T, _ func(t *testing.T, c *Card)) {
	t.Skip("mounts of one's own are Linux's")
}

// Card is a card that can fail under open files; none here.
type Card struct{ Dir string }

// Fail does nothing: Failing skips.
func (c *Card) Fail(t *testing.T) { t.Helper() }

// Again does nothing: Failing skips.
func (c *Card) Again(t *testing.T) { t.Helper() }

//go:build !linux

package journal

import "testing"

func onSmallCard(t *testing.T, _ func(*testing.T, string)) {
	t.Skip("needs a file system made for the test")
}

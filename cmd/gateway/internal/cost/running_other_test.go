//go:build !linux

package cost_test

import "testing"

func TestRunning(t *testing.T) {
	t.Skip("a process's memory, files and bytes written are read from /proc, which Linux alone has")
}

// Package need skips tests whose tool is missing, and fails them where a
// complete machine was promised.
package need

import (
	"os"
	"os/exec"
	"testing"
)

// Strict is the environment variable that turns a skip into a failure.
const Strict = "GATEWAY_CI"

// Tool returns the path of the named program. Where it is not installed the
// test is skipped with the reason, or fails if Strict is set to 1.
func Tool(t testing.TB, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err == nil {
		return path
	}
	// Distributions put daemons where a user's path does not look.
	if path, err = exec.LookPath("/usr/sbin/" + name); err == nil {
		return path
	}
	if os.Getenv(Strict) == "1" {
		t.Fatalf("%s is not installed and %s=1 promises that it is", name, Strict)
	}
	t.Skipf("%s is not installed", name)
	return ""
}

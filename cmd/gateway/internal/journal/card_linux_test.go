package journal

import (
	"os"
	"os/exec"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"
)

// onSmallCard runs a test in a folder of a file system of two megabytes. It does so
// in a child with mounts of its own: nothing is left behind, whoever runs it.
func onSmallCard(t *testing.T, f func(t *testing.T, dir string)) {
	t.Helper()
	const env = "JOURNAL_TEST_CARD"
	if dir := os.Getenv(env); dir != "" {
		require.NoError(t, syscall.Mount("none", dir, "tmpfs", 0, "size=2m"))
		f(t, dir)
		return
	}
	cmd := exec.Command(os.Args[0], "-test.run=^"+t.Name()+"$", "-test.v")
	cmd.Env = append(os.Environ(), env+"="+t.TempDir())
	cmd.SysProcAttr = &syscall.SysProcAttr{
		Cloneflags:  syscall.CLONE_NEWNS | syscall.CLONE_NEWUSER,
		UidMappings: []syscall.SysProcIDMap{{ContainerID: 0, HostID: os.Getuid(), Size: 1}},
		GidMappings: []syscall.SysProcIDMap{{ContainerID: 0, HostID: os.Getgid(), Size: 1}},
	}
	out, err := cmd.CombinedOutput()
	if _, ran := err.(*exec.ExitError); err != nil && !ran && os.Getenv("GATEWAY_CI") == "" {
		t.Skipf("this kernel gives no mounts of one's own: %v", err)
	}
	require.NoError(t, err, "%s", out)
	require.Contains(t, string(out), "--- PASS: "+t.Name())
}

// Package smallcard gives tests a card that is soon full, or can't be written.
package smallcard

import (
	"io"
	"os"
	"os/exec"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"
)

// On runs a test in a folder of a file system of that size, such as 2m. It does so
// in a child with mounts of its own: nothing is left behind, whoever runs it. What
// f is to leave behind is lost with the child.
func On(t *testing.T, size string, f func(t *testing.T, dir string)) {
	t.Helper()
	if dir := os.Getenv(env); dir != "" {
		require.NoError(t, syscall.Mount("none", dir, "tmpfs", 0, "size="+size))
		f(t, dir)
		return
	}
	alone(t, &syscall.SysProcAttr{
		Cloneflags:  syscall.CLONE_NEWNS | syscall.CLONE_NEWUSER,
		UidMappings: []syscall.SysProcIDMap{{ContainerID: 0, HostID: os.Getuid(), Size: 1}},
		GidMappings: []syscall.SysProcIDMap{{ContainerID: 0, HostID: os.Getgid(), Size: 1}},
	})
}

// env names the folder to the child.
const env = "GATEWAY_TEST_CARD"

// alone runs the test again in a child with mounts of its own.
func alone(t *testing.T, how *syscall.SysProcAttr) {
	t.Helper()
	cmd := exec.Command(os.Args[0], "-test.run=^"+t.Name()+"$", "-test.v")
	if testing.Short() {
		cmd.Args = append(cmd.Args, "-test.short")
	}
	cmd.Env = append(os.Environ(), env+"="+t.TempDir())
	cmd.SysProcAttr = how
	out, err := cmd.CombinedOutput()
	if _, ran := err.(*exec.ExitError); err != nil && !ran && os.Getenv("GATEWAY_CI") == "" {
		t.Skipf("this kernel gives no mounts of one's own: %v", err)
	}
	require.NoError(t, err, "%s", out)
	require.Contains(t, string(out), "--- PASS: "+t.Name())
}

// Brim writes to a file until a card has no more room but for a little.
func Brim(t *testing.T, path string) {
	t.Helper()
	f, err := os.Create(path)
	require.NoError(t, err)
	_, err = io.Copy(f, zeros{})
	require.Error(t, err)
	st, err := f.Stat()
	require.NoError(t, err)
	require.NoError(t, f.Truncate(st.Size()-64<<10))
	require.NoError(t, f.Close())
}

type zeros struct{}

func (zeros) Read(p []byte) (int, error) { clear(p); return len(p), nil }

// ReadOnly makes the file system of a test under On read-only, or writable again.
func ReadOnly(t *testing.T, dir string, yes bool) {
	t.Helper()
	flags := uintptr(syscall.MS_REMOUNT)
	if yes {
		flags |= syscall.MS_RDONLY
	}
	require.NoError(t, syscall.Mount("none", dir, "tmpfs", flags, ""))
}

package smallcard

import (
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"
)

// Card is a file system of its own that can fail under open files.
type Card struct {
	// Dir is where it is mounted.
	Dir   string
	image string
}

// Failing runs a test on a card that the kernel turns read-only while files on it are
// open: an ext4 image that is told of an error, as by a card that fails. Nobody may do so
// by remounting it. Only root may mount one; elsewhere the test is skipped, but not in CI.
func Failing(t *testing.T, f func(t *testing.T, c *Card)) {
	t.Helper()
	dir := os.Getenv(env)
	if dir == "" {
		_, noTool := exec.LookPath("mkfs.ext4")
		_, noLoop := os.Stat("/dev/loop-control")
		if err := errors.Join(noTool, noLoop); (os.Geteuid() != 0 || err != nil) && os.Getenv("GATEWAY_CI") == "" {
			t.Skipf("only root mounts an image, where there are loop devices: %v", err)
		}
		alone(t, &syscall.SysProcAttr{Cloneflags: syscall.CLONE_NEWNS})
		return
	}
	// The namespace is a copy, and what is mounted there shows elsewhere until told not to.
	require.NoError(t, syscall.Mount("", "/", "", syscall.MS_REC|syscall.MS_PRIVATE, ""))
	c := &Card{Dir: filepath.Join(dir, "card"), image: filepath.Join(dir, "image")}
	require.NoError(t, os.Mkdir(c.Dir, 0o700))
	require.NoError(t, os.WriteFile(c.image, nil, 0o600))
	require.NoError(t, os.Truncate(c.image, 16<<20))
	run(t, "mkfs.ext4", "-q", c.image)
	c.mount(t)
	// A detached one goes with its last open file, and its loop device with it.
	t.Cleanup(func() { require.NoError(t, syscall.Unmount(c.Dir, syscall.MNT_DETACH)) })
	f(t, c)
}

func (c *Card) mount(t *testing.T) {
	t.Helper()
	run(t, "mount", "-o", "loop,errors=remount-ro", c.image, c.Dir)
}

// Fail has the kernel turn it read-only.
func (c *Card) Fail(t *testing.T) {
	t.Helper()
	mounts, err := os.ReadFile("/proc/self/mounts")
	require.NoError(t, err)
	for line := range strings.Lines(string(mounts)) {
		if at := strings.Fields(line); at[1] == c.Dir {
			// The kernel's own hook for this (its documentation of ext4's sysfs, from memory).
			hook := filepath.Join("/sys/fs/ext4", filepath.Base(at[0]), "trigger_fs_error")
			require.NoError(t, os.WriteFile(hook, []byte("card failed on purpose"), 0))
			require.ErrorIs(t, os.WriteFile(filepath.Join(c.Dir, "x"), nil, 0o600), syscall.EROFS)
			return
		}
	}
	t.Fatal("the card is not mounted")
}

// Again mounts it anew, which can be written again. Nothing on it may be open.
func (c *Card) Again(t *testing.T) {
	t.Helper()
	require.NoError(t, syscall.Unmount(c.Dir, 0))
	c.mount(t)
}

func run(t *testing.T, name string, args ...string) {
	t.Helper()
	out, err := exec.Command(name, args...).CombinedOutput()
	require.NoError(t, err, "%s: %s", name, out)
}

package main

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/cmd/gateway/internal/page"
)

func TestPasswordCommand(t *testing.T) {
	path := filepath.Join(t.TempDir(), "password")
	run := func(in string, args ...string) (int, string) {
		out := &output{}
		code := execute(context.Background(), streams{in: strings.NewReader(in), out: out, err: out}, append([]string{"password", "--file", path}, args...))
		return code, out.String()
	}
	code, said := run("short\n")
	assert.Equal(t, exitFailed, code)
	assert.Contains(t, said, "at least 8 letters")
	assert.NoFileExists(t, path)
	code, _ = run("")
	assert.Equal(t, exitFailed, code)
	code, _ = run("", "--remove")
	assert.Equal(t, exitWrongUse, code)

	code, said = run("lemon and thyme\n")
	require.Equal(t, exitDone, code, said)
	assert.NotContains(t, said, "lemon")
	info, err := os.Stat(path)
	require.NoError(t, err)
	assert.Equal(t, os.FileMode(0o600), info.Mode().Perm())
	s, err := page.LoadSecrets(path)
	require.NoError(t, err)
	assert.True(t, s.Set())
	assert.NoError(t, page.Door{Addr: ":8077", Secrets: s}.Check())

	code, said = run("x\n", "--guest")
	assert.Equal(t, exitFailed, code)
	assert.Contains(t, said, "it has 1 letter in 1 byte, expected")
	code, said = run("lemon and thyme\n", "--guest")
	assert.Equal(t, exitFailed, code, "it would open the owner's page to guests")
	assert.Contains(t, said, "this is the owner's already")
	code, said = run("", "--guest", "--remove")
	assert.Equal(t, exitFailed, code)
	assert.Contains(t, said, "no word for guests in it")
	code, said = run("only a look\n", "--guest")
	require.Equal(t, exitDone, code, said)
	code, said = run("only a look\n")
	assert.Equal(t, exitFailed, code)
	assert.Contains(t, said, "this is the guest's already")
	code, said = run("", "--guest", "--remove")
	require.Equal(t, exitDone, code, said)
	assert.Contains(t, said, "the guest's password is no longer in "+path)

	code, said = run("lemon and thyme\n", "--file", filepath.Dir(path))
	assert.Equal(t, exitFailed, code)
	assert.Contains(t, said, filepath.Dir(path)+": that is a folder")
	assert.NotContains(t, said, "chmod")
}

func TestPageFlagsRefuseAnOpenDoor(t *testing.T) {
	t.Setenv("STATE_DIRECTORY", t.TempDir())
	code, _, said := gateway(context.Background(), "run", "--listen", "0.0.0.0:0", "--socket", filepath.Join(t.TempDir(), "s"))
	assert.Equal(t, exitWrongUse, code)
	assert.Contains(t, said.String(), "there is no password")
}

// TestPageWithoutAPlaceForThePassword: where no folder for it is nobody has set one, and
// the page comes up for this machine alone, as with a folder that is empty; for others it
// stays shut. Where nobody can say where it would be, nothing is opened without it.
func TestPageWithoutAPlaceForThePassword(t *testing.T) {
	none := filepath.Join(t.TempDir(), "none")
	t.Setenv("STATE_DIRECTORY", "")
	t.Setenv("XDG_STATE_HOME", none)
	door := func(listen string) (*page.Door, string, error) {
		errs := &output{}
		d, err := (&pageFlags{listen: listen}).door(streams{err: errs})
		return d, errs.String(), err
	}
	d, said, err := door("127.0.0.1:0")
	require.NoError(t, err)
	require.NotNil(t, d, said)
	assert.NoDirExists(t, none)
	_, _, err = door("0.0.0.0:0")
	require.ErrorContains(t, err, "there is no password")

	if _, installed := os.Stat(serviceDir); installed == nil {
		t.Skip("the service's folder is here")
	}
	t.Setenv("XDG_STATE_HOME", "")
	t.Setenv("HOME", "")
	d, said, err = door("127.0.0.1:0")
	require.NoError(t, err)
	assert.Nil(t, d)
	assert.Contains(t, said, "name one with --password-file, or with XDG_STATE_HOME")
	code, _, errs := gateway(context.Background(), "password")
	assert.Equal(t, exitFailed, code)
	assert.Contains(t, errs.String(), "name one with --file, or with XDG_STATE_HOME")
}

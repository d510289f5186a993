package main

import (
	"fmt"
	"os"
	"syscall"
)

// ownFolder is nil for a folder that is this user's and open to nobody else. A link
// is none: somebody else may have put it there.
func ownFolder(path string) error {
	st, err := os.Lstat(path)
	if err != nil {
		return err
	}
	s, ok := st.Sys().(*syscall.Stat_t)
	if !st.IsDir() || !ok || int(s.Uid) != os.Geteuid() || st.Mode().Perm()&0o077 != 0 {
		return fmt.Errorf("%s is not a folder of this user's own with mode 0700: look who put it there, and remove it", path)
	}
	return nil
}

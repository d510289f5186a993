package main

import (
	"path/filepath"

	"golang.org/x/sys/unix"
)

// diskSpace is what is free for this user, and what there is, on the file
// system of a file's folder, bytes.
func diskSpace(file string) (free, total uint64, err error) {
	var st unix.Statfs_t
	if err := unix.Statfs(filepath.Dir(file), &st); err != nil {
		return 0, 0, err
	}
	size := uint64(st.Bsize)
	return st.Bavail * size, st.Blocks * size, nil
}

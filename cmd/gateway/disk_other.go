//go:build !linux

package main

import "errors"

// diskSpace is not known here.
func diskSpace(string) (free, total uint64, err error) {
	return 0, 0, errors.New("disk space is not known on this system")
}

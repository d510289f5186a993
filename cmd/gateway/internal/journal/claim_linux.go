package journal

import (
	"errors"
	"os"
	"syscall"
)

// claimFile takes a lock of flock(2), which knows nothing of SQLite's own.
func (j *Journal) claimFile() error {
	f, err := os.Open(j.path)
	if err != nil {
		return nil // SQLite says what is wrong with it
	}
	j.claim = f
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); errors.Is(err, syscall.EWOULDBLOCK) {
		return ErrInUse
	}
	return nil
}

package journal

import (
	"errors"
	"os"
	"syscall"
)

// claimFile takes a lock of flock(2), which knows nothing of SQLite's own and goes with
// the file where it is renamed.
func (j *Journal) claimFile() error {
	f, err := os.Open(j.path)
	if err != nil {
		return nil // SQLite says what is wrong with it
	}
	j.claims = append(j.claims, f)
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); errors.Is(err, syscall.EWOULDBLOCK) {
		return ErrInUse
	}
	// Whoever had it until now may have set it aside meanwhile.
	held, err := f.Stat()
	if err != nil {
		return nil
	}
	if there, err := os.Stat(j.path); err != nil || !os.SameFile(held, there) {
		return ErrInUse
	}
	return nil
}

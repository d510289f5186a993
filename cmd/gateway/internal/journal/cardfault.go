package journal

import (
	"errors"
	"syscall"

	"modernc.org/sqlite"
)

// CardFault reports whether an error of Open is the card's doing - read-only,
// full, or failing - and not a wrong path, another program's file or a newer
// version, which a person has to sort out.
func CardFault(err error) bool {
	for _, e := range []error{syscall.EROFS, syscall.ENOSPC, syscall.EDQUOT, syscall.EIO} {
		if errors.Is(err, e) {
			return true
		}
	}
	// SQLite's primary result codes.
	const readOnly, ioErr, full, cantOpen = 8, 10, 13, 14
	var se *sqlite.Error
	if errors.As(err, &se) {
		switch se.Code() & 0xff {
		case readOnly, ioErr, full, cantOpen:
			return true
		}
	}
	return false
}

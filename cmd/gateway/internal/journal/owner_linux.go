package journal

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"
)

// LikeOwner gives a file the owner of another file or folder, or where there is
// none of the folder it would be in: what an administrator makes in the service's
// folder must still be the service's to write. A link that was put in the file's place
// is given away itself, never what it points to. Who is not root can give nothing
// away, and nothing is done.
func LikeOwner(file, other string) error {
	if os.Geteuid() != 0 {
		return nil
	}
	st, err := os.Stat(other)
	if errors.Is(err, fs.ErrNotExist) {
		st, err = os.Stat(filepath.Dir(other))
	}
	if err != nil {
		return err
	}
	s, ok := st.Sys().(*syscall.Stat_t)
	if !ok {
		return nil
	}
	return os.Lchown(file, int(s.Uid), int(s.Gid))
}

// Package place puts a file where others look for it: whole or not at all, and
// for good. A name that was changed is a matter of the folder; until that too is
// on the card a power cut may bring back the file before.
package place

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
)

// File replaces the file at path, or makes it, with that mode. write fills it and
// may give it an owner or refuse; it is not to close it. On an error before the
// new name is given the file that was there is untouched. What is written beside
// it meanwhile is made anew under a name nobody knows, so that root writes through
// no link in a folder of others.
func File(path string, mode fs.FileMode, write func(*os.File) error) error {
	if st, err := os.Stat(path); err == nil && st.IsDir() {
		return &fs.PathError{Op: "write", Path: path, Err: errors.New("that is a folder, expected a file's name")}
	}
	return disk().file(path, mode, write)
}

// Rename gives a file that is on the card another name in its folder. It replaces
// a file of that name.
func Rename(from, to string) error {
	return disk().rename(from, to)
}

// Written has a file on the card that another wrote, and gives it its name.
func Written(part, to string) error {
	f, err := os.OpenFile(part, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	return disk().settle(f, to)
}

// card is what the order of steps depends on.
type card struct {
	sync func(*os.File) error
	move func(from, to string) error
}

func disk() card { return card{(*os.File).Sync, os.Rename} }

func (c card) file(path string, mode fs.FileMode, write func(*os.File) error) error {
	f, err := os.CreateTemp(filepath.Dir(path), part(path)+"*")
	if err != nil {
		return named(err, path)
	}
	if err := errors.Join(write(f), f.Chmod(mode)); err != nil {
		return named(errors.Join(err, f.Close(), os.Remove(f.Name())), path)
	}
	if err := c.settle(f, path); err != nil {
		if gone := os.Remove(f.Name()); gone != nil && !errors.Is(gone, fs.ErrNotExist) {
			err = errors.Join(err, gone)
		}
		return named(err, path)
	}
	return nil
}

// named says of the file itself what failed at the one beside it, of whose name
// nobody has heard.
func named(err error, path string) error {
	beside := filepath.Join(filepath.Dir(path), part(path))
	var at *fs.PathError
	if errors.As(err, &at) && strings.HasPrefix(filepath.Clean(at.Path), beside) {
		return &fs.PathError{Op: "write", Path: path, Err: at.Err}
	}
	var move *os.LinkError
	if errors.As(err, &move) {
		return &fs.PathError{Op: "write", Path: path, Err: move.Err}
	}
	return err
}

func part(path string) string { return "." + filepath.Base(path) + ".part-" }

// settle closes the file and gives it its name once it is on the card.
func (c card) settle(f *os.File, to string) error {
	if err := errors.Join(c.sync(f), f.Close()); err != nil {
		return err
	}
	return c.rename(f.Name(), to)
}

func (c card) rename(from, to string) error {
	// Opened before: where the folder can't be, nothing is done.
	dir, err := os.Open(filepath.Dir(to))
	if err != nil {
		return err
	}
	defer dir.Close()
	if err := c.move(from, to); err != nil {
		return err
	}
	if err := c.sync(dir); err != nil {
		return fmt.Errorf("%s has its name, but a power cut may take it away: %w", to, err)
	}
	return nil
}

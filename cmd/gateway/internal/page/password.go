package page

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"unicode/utf8"

	"fabricpot/cmd/gateway/internal/place"

	"golang.org/x/crypto/bcrypt"
)

// Who a secret is for.
const (
	ForOwner = "owner"
	ForGuest = "guest"
)

const (
	// cost makes one check take about a second on the smallest boards.
	cost = 11
	// minPassword is in letters, maxPassword in bytes: bcrypt reads no more.
	minPassword, maxPassword = 8, 72
)

// Secrets are the hashes of the owner's password and of the word that lets
// guests read. The zero value asks nobody to sign in.
type Secrets struct {
	owner, guest []byte
	// turn lets one check run at a time, so that strangers can't use the whole
	// board for theirs.
	turn chan struct{}
}

// Set tells whether there is an owner's password.
func (s Secrets) Set() bool { return len(s.owner) > 0 }

// LoadSecrets reads a password file: a line "owner HASH" and, where guests may
// read, a line "guest HASH". It refuses a file that others can read or write.
func LoadSecrets(path string) (Secrets, error) {
	s := Secrets{turn: make(chan struct{}, 1)}
	lines, err := readSecrets(path)
	if err != nil {
		return Secrets{}, err
	}
	s.owner, s.guest = []byte(lines[ForOwner]), []byte(lines[ForGuest])
	if !s.Set() {
		return Secrets{}, fmt.Errorf("password file %s: no owner's password in it; set one with: gateway password", path)
	}
	return s, nil
}

func readSecrets(path string) (map[string]string, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, fmt.Errorf("password file: %w", err)
	}
	if info.IsDir() {
		return nil, fmt.Errorf("password file %s: that is a folder, expected a file's name, such as %s", path, filepath.Join(path, "password"))
	}
	if info.Mode().Perm()&0o077 != 0 {
		return nil, fmt.Errorf("password file %s: mode %04o lets others at it; run: chmod 600 %s", path, info.Mode().Perm(), path)
	}
	if info.Size() > 4096 {
		return nil, fmt.Errorf("password file %s: %d bytes, expected two short lines", path, info.Size())
	}
	src, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("password file: %w", err)
	}
	out := map[string]string{}
	for i, line := range strings.Split(strings.TrimSpace(string(src)), "\n") {
		who, hash, ok := strings.Cut(strings.TrimSpace(line), " ")
		if _, err := bcrypt.Cost([]byte(hash)); !ok || err != nil || (who != ForOwner && who != ForGuest) {
			// The line itself is not shown: it may be a password by mistake.
			return nil, fmt.Errorf("password file %s:%d: expected owner or guest and a hash; set it with: gateway password", path, i+1)
		}
		out[who] = hash
	}
	return out, nil
}

// SavePassword keeps the hash of a password in the file, for ForOwner or
// ForGuest, and leaves the other one. The file is replaced as a whole, mode
// 0600. An empty password for the guest takes the guest's access away.
func SavePassword(path, who, password string) error {
	return savePassword(path, who, password, cost)
}

func savePassword(path, who, password string, cost int) error {
	if who != ForOwner && who != ForGuest {
		return fmt.Errorf("password: for %q, expected %s or %s", who, ForOwner, ForGuest)
	}
	lines, err := readSecrets(path)
	if errors.Is(err, fs.ErrNotExist) {
		lines, err = map[string]string{}, nil
	}
	if err != nil {
		return err
	}
	if password == "" && who == ForGuest {
		if lines[who] == "" {
			return fmt.Errorf("password file %s: there is no word for guests in it", path)
		}
		delete(lines, who)
	} else {
		if n := utf8.RuneCountInString(password); n < minPassword || len(password) > maxPassword {
			return fmt.Errorf("password: it has %s in %s, expected at least %d letters and at most %d bytes", counted(n, "letter"), counted(len(password), "byte"), minPassword, maxPassword)
		}
		// Who signs in is known by the word alone.
		other := map[string]string{ForOwner: ForGuest, ForGuest: ForOwner}[who]
		if h := lines[other]; h != "" && bcrypt.CompareHashAndPassword([]byte(h), []byte(password)) == nil {
			return fmt.Errorf("password: this is the %s's already, expected one of the %s's own; nothing was changed", other, who)
		}
		hash, err := bcrypt.GenerateFromPassword([]byte(password), cost)
		if err != nil {
			return fmt.Errorf("password: %w", err)
		}
		lines[who] = string(hash)
	}
	var text strings.Builder
	for _, w := range []string{ForOwner, ForGuest} {
		if h := lines[w]; h != "" {
			fmt.Fprintf(&text, "%s %s\n", w, h)
		}
	}
	err = place.File(path, 0o600, func(f *os.File) error {
		_, err := f.WriteString(text.String())
		return err
	})
	if err != nil {
		return fmt.Errorf("password file: %w", err)
	}
	return nil
}

// counted is a number of things.
func counted(n int, thing string) string {
	if n != 1 {
		thing += "s"
	}
	return fmt.Sprintf("%d %s", n, thing)
}

// check tells whose password it is. It waits for its turn as long as the
// context lasts.
func (s Secrets) check(ctx context.Context, password string) (role, error) {
	select {
	case s.turn <- struct{}{}:
		defer func() { <-s.turn }()
	case <-ctx.Done():
		return nobody, ctx.Err()
	}
	if len(password) > maxPassword {
		return nobody, nil
	}
	if bcrypt.CompareHashAndPassword(s.owner, []byte(password)) == nil {
		return owner, nil
	}
	if len(s.guest) > 0 && bcrypt.CompareHashAndPassword(s.guest, []byte(password)) == nil {
		return guest, nil
	}
	return nobody, nil
}

package hub

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"

	"fabricpot/cmd/gateway/internal/place"
)

// Published is what lies retained at the broker because of us. A topic whose
// zone has left the garden file since must be cleared, so this outlives a run.
type Published struct {
	// Topics are retained topics.
	Topics []string `json:"topics"`
	// Components are the discovery document's, key → platform.
	Components map[string]string `json:"components"`
}

// Memory keeps Published between runs.
type Memory interface {
	Load() (Published, error)
	Save(Published) error
}

// File is a Memory in a file, replaced as a whole.
type File string

// maxMemory bounds the file that is believed, bytes.
const maxMemory = 4 << 20

// Load reads the file; one that is not there yet is empty.
func (f File) Load() (Published, error) {
	var p Published
	b, err := os.ReadFile(string(f))
	if errors.Is(err, fs.ErrNotExist) {
		return p, nil
	}
	if err == nil && len(b) > maxMemory {
		err = fmt.Errorf("%d bytes, expected at most %d", len(b), maxMemory)
	}
	if err == nil {
		err = json.Unmarshal(b, &p)
	}
	if err != nil {
		return Published{}, fmt.Errorf("hub: what was published before, %s: %w", f, err)
	}
	return p, nil
}

// Save replaces the file as a whole.
func (f File) Save(p Published) error {
	b, err := json.Marshal(p)
	if err != nil {
		return fmt.Errorf("hub: %w", err)
	}
	err = place.File(string(f), 0o600, func(out *os.File) error {
		_, err := out.Write(b)
		return err
	})
	if err != nil {
		return fmt.Errorf("hub: remember what is published in %s: %w", f, err)
	}
	return nil
}

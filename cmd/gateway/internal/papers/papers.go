// Package papers makes the manual pages and shell completions that are installed
// beside the program. Nothing that is installed links it: with what it needs the
// program would be a quarter of a megabyte larger.
package papers

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/cobra/doc"
)

// Write makes folder/man1/*.1 and the completions of three shells from the
// commands below root. Pages bear the date, so that a build can be repeated.
func Write(root *cobra.Command, folder string, date time.Time) error {
	man := filepath.Join(folder, "man1")
	if err := os.MkdirAll(man, 0o755); err != nil {
		return fmt.Errorf("papers: %w", err)
	}
	root.DisableAutoGenTag = true
	head := &doc.GenManHeader{Section: "1", Date: &date, Source: "gateway", Manual: "Water and food for fabric pots"}
	if err := doc.GenManTree(root, head, man); err != nil {
		return fmt.Errorf("papers: %w", err)
	}
	for name, write := range map[string]func(*bytes.Buffer) error{
		"gateway.bash": func(b *bytes.Buffer) error { return root.GenBashCompletionV2(b, true) },
		"gateway.fish": func(b *bytes.Buffer) error { return root.GenFishCompletion(b, true) },
		"_gateway":     func(b *bytes.Buffer) error { return root.GenZshCompletion(b) },
	} {
		var b bytes.Buffer
		if err := write(&b); err != nil {
			return fmt.Errorf("papers: %s: %w", name, err)
		}
		if err := os.WriteFile(filepath.Join(folder, name), b.Bytes(), 0o644); err != nil {
			return fmt.Errorf("papers: %w", err)
		}
	}
	return nil
}

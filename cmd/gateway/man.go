package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/cobra/doc"
)

// newPapers is hidden: the package's build uses it.
func newPapers() *cobra.Command {
	var stamp int64
	cmd := &cobra.Command{
		Use:    "papers FOLDER",
		Short:  "Write manual pages and shell completions",
		Hidden: true,
		Args:   usage(cobra.ExactArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			return writePapers(cmd.Root(), args[0], time.Unix(stamp, 0).UTC())
		},
	}
	cmd.Flags().Int64Var(&stamp, "date", 0, "date of the pages, in seconds since 1970, so that a build can be repeated")
	return cmd
}

// writePapers writes FOLDER/man1/*.1 and the completions of three shells.
func writePapers(root *cobra.Command, folder string, date time.Time) error {
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

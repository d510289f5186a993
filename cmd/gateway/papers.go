//go:build papers

package main

import (
	"time"

	"github.com/spf13/cobra"

	"fabricpot/cmd/gateway/internal/papers"
)

// ofTheBuild are commands that only the package's build uses.
func ofTheBuild() []*cobra.Command {
	var stamp int64
	cmd := &cobra.Command{
		Use:    "papers FOLDER",
		Short:  "Write manual pages and shell completions",
		Hidden: true,
		Args:   usage(cobra.ExactArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			return papers.Write(cmd.Root(), args[0], time.Unix(stamp, 0).UTC())
		},
	}
	cmd.Flags().Int64Var(&stamp, "date", 0, "date of the pages, in seconds since 1970, so that a build can be repeated")
	return []*cobra.Command{cmd}
}

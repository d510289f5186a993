package main

import (
	"encoding/json"

	"fabricpot/cmd/gateway/internal/config"

	"github.com/spf13/cobra"
)

func newSchema(s streams) *cobra.Command {
	return &cobra.Command{
		Use:   "schema",
		Short: "Print the garden file's JSON Schema, for editors",
		Long: `schema prints the JSON Schema (draft 2020-12) of the garden file. An editor that
is given it completes keys, shows what each means and marks slips while you
type. What needs a second look, such as a refill point over capacity, only
'gateway check' finds.`,
		Example: `  gateway schema > garden.schema.json
  Then put this as the first line into the garden file, for editors that know it:
  # yaml-language-server: $schema=garden.schema.json`,
		Args: usage(cobra.NoArgs),
		RunE: func(*cobra.Command, []string) error {
			e := json.NewEncoder(s.out)
			e.SetIndent("", "  ")
			e.SetEscapeHTML(false)
			return e.Encode(config.Schema())
		},
	}
}

package main

import (
	"bytes"
	"context"
	"testing"

	"github.com/spf13/cobra"
	"github.com/stretchr/testify/assert"
)

// TestRunAloneSaysTheSame: the command line of a running gateway has no other command,
// and what it answers to wrong use and to a call for help is what the whole one does.
func TestRunAloneSaysTheSame(t *testing.T) {
	for _, args := range [][]string{
		{"run", "--help"}, {"run", "-h"}, {"run", "--no-such-flag"}, {"run", "--speed", "fast"}, {"run", "--socket="}, {"run", "a.yaml", "b.yaml"}, {"run", ""},
	} {
		said := func(root func(streams) *cobra.Command) (string, string) {
			var out bytes.Buffer
			top := root(streams{out: &out, err: &out})
			top.SetArgs(args)
			cmd, err := top.ExecuteContextC(context.Background())
			if err != nil {
				return out.String(), cmd.CommandPath() + ": " + err.Error()
			}
			return out.String(), ""
		}
		out, err := said(func(s streams) *cobra.Command {
			root := rootFor(args, s, openLines)
			assert.Equal(t, []string{"run"}, names(root))
			return root
		})
		wholeOut, wholeErr := said(func(s streams) *cobra.Command { return newRoot(s, openLines) })
		assert.Equal(t, wholeOut, out, "%q", args)
		assert.Equal(t, wholeErr, err, "%q", args)
		assert.NotEmpty(t, out+err, "%q", args)
	}
	for _, args := range [][]string{nil, {"check"}, {"--help"}, {"help", "run"}, {"--version", "run"}} {
		assert.Equal(t, names(newRoot(streams{}, openLines)), names(rootFor(args, streams{}, openLines)), "%q", args)
	}
}

func names(root *cobra.Command) (out []string) {
	for _, c := range root.Commands() {
		out = append(out, c.Name())
	}
	return out
}

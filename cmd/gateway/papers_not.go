//go:build !papers

package main

import "github.com/spf13/cobra"

// ofTheBuild are commands that only the package's build uses; see papers.go.
func ofTheBuild() []*cobra.Command { return nil }

package main

import (
	"errors"
	"fmt"
	"io"
	"runtime/debug"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

// streams are where a command reads and writes. Figures go to out, everything
// else to err, so that a pipe gets figures alone.
type streams struct {
	in       io.Reader
	out, err io.Writer
}

// newRoot is the whole command line; open gives it the outputs of a board.
func newRoot(s streams, open opener) *cobra.Command {
	root := newTop(s)
	root.AddCommand(newRun(s, open), newCheck(s), newSimulate(s), newCloseAll(s, open), newAutomatic(s), newAlarms(s), newReload(s), newPassword(s), newCalc(s),
		newBackup(s), newRestore(s), newSchema(s), newCalibrate(s), newHardware(s), newFlow(s), newRounds(s), newDone(s), newNote(s), newPlant(s), newPlan(s), newDoctor(s), newReport(s), newExport(s))
	root.AddCommand(newTrial(s))
	root.AddCommand(ofTheBuild()...)
	return root
}

// rootFor is as much of the command line as args need. A gateway that runs for years
// does not make and keep all other commands.
func rootFor(args []string, s streams, open opener) *cobra.Command {
	if len(args) == 0 || args[0] != "run" {
		return newRoot(s, open)
	}
	root := newTop(s)
	root.CompletionOptions.DisableDefaultCmd = true
	root.AddCommand(newRun(s, open))
	return root
}

// newTop is the command line without its commands.
func newTop(s streams) *cobra.Command {
	root := &cobra.Command{
		Use:   "gateway",
		Short: "Keep fabric pots watered and fed, and never flood a home",
		Long: `gateway reads moisture probes in fabric pots, decides irrigation pulses sized
to each container, drives the valves and closes them whatever happens.

Try it with no hardware at all:

  gateway run --speed 600     the example terrace on a virtual bench
  gateway check my.yaml       what a garden file means, pot by pot
  gateway simulate            a whole season in seconds

Exit codes: 0 done, 1 failed, 2 wrong use.`,
		SilenceUsage:  true,
		SilenceErrors: true,
		Version:       version(),
		Args:          usage(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return cmd.Help()
		},
	}
	root.SetIn(s.in)
	root.SetOut(s.out)
	root.SetErr(s.err)
	root.SetHelpCommand(newHelp())
	root.PersistentPreRunE = func(cmd *cobra.Command, _ []string) error {
		if f := cmd.Flag("socket"); f != nil && f.Changed && f.Value.String() == "" {
			return wrongUse{errors.New("--socket is empty: expected the path of a control socket")}
		}
		return nil
	}
	root.CompletionOptions.HiddenDefaultCmd = true
	root.SetFlagErrorFunc(func(_ *cobra.Command, err error) error { return wrongUse{inWords(err)} })
	return root
}

// newHelp is the library's, but that a command which is none is wrong use.
func newHelp() *cobra.Command {
	return &cobra.Command{
		Use:   "help [COMMAND]",
		Short: "Help about any command",
		RunE: func(cmd *cobra.Command, args []string) error {
			of, rest, err := cmd.Root().Find(args)
			if err != nil || len(rest) > 0 {
				return wrongUse{fmt.Errorf("unknown command %q: 'gateway help' lists them", strings.Join(args, " "))}
			}
			of.InitDefaultHelpFlag()
			return of.Help()
		},
	}
}

// inWords says which value a flag was given and what it takes, where the library
// quotes the function that could not read it.
func inWords(err error) error {
	var bad *pflag.InvalidValueError
	if !errors.As(err, &bad) {
		return err
	}
	takes, ok := map[string]string{
		"int": "a whole number", "int64": "a whole number", "uint64": "a whole number, not negative",
		"float64": "a number", "bool": "true or false", "duration": "a time such as 90s, 15m or 3d",
	}[bad.GetFlag().Value.Type()]
	if !ok {
		return err
	}
	return fmt.Errorf("--%s %q: expected %s", bad.GetFlag().Name, bad.GetValue(), takes)
}

// version is what the build recorded of itself.
func version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "unknown"
	}
	v := info.Main.Version
	if v == "" {
		v = "(devel)"
	}
	return fmt.Sprintf("%s %s", v, info.GoVersion)
}

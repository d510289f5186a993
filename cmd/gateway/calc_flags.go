package main

import (
	"errors"
	"fmt"
	"strconv"
	"strings"

	"fabricpot/cmd/gateway/internal/units"
	"fabricpot/control/garden"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

// number is a flag that takes one plain finite number and knows whether it was
// given: no NaN, no infinity, no unit after it. It implements [pflag.Value].
type number struct{ *garden.Measured }

func (n number) Set(text string) error {
	v, rest, err := units.Number(text)
	if err != nil {
		return fmt.Errorf("%w, expected a plain number", err)
	}
	if rest = strings.TrimSpace(rest); rest != "" {
		return fmt.Errorf("%q after the number, expected a plain number: the flag's unit is in its help", rest)
	}
	*n.Measured = garden.Known(v)
	return nil
}

func (n number) String() string {
	if n.Measured == nil || !n.Known {
		return ""
	}
	return strconv.FormatFloat(n.Value, 'g', -1, 64)
}

func (n number) Type() string { return "number" }

// numberFlag adds a number flag; a `word` in the help is its unit.
func numberFlag(fl *pflag.FlagSet, v *garden.Measured, name, help string) {
	fl.Var(number{v}, name, help)
}

// whole is a flag that takes one whole number. It implements [pflag.Value].
type whole struct{ *int }

func (w whole) Set(text string) error {
	v, err := strconv.Atoi(strings.TrimSpace(text))
	if err != nil {
		return errors.New("expected a whole number")
	}
	*w.int = v
	return nil
}

func (w whole) String() string {
	if w.int == nil {
		return "0"
	}
	return strconv.Itoa(*w.int)
}

func (w whole) Type() string { return "number" }

// needs refuses a command line without all of these flags.
func needs(cmd *cobra.Command, why string, names ...string) error {
	var missing []string
	for _, n := range names {
		if !cmd.Flags().Changed(n) {
			missing = append(missing, "--"+n)
		}
	}
	if len(missing) == 0 {
		return nil
	}
	return wrongUse{fmt.Errorf("%s needs %s", why, strings.Join(missing, " and "))}
}

// apart refuses flags from more than one of these groups together.
func apart(cmd *cobra.Command, why string, groups ...[]string) error {
	var given []string
	for _, g := range groups {
		for _, n := range g {
			if cmd.Flags().Changed(n) {
				given = append(given, "--"+n)
				break
			}
		}
	}
	if len(given) < 2 {
		return nil
	}
	return wrongUse{fmt.Errorf("%s contradict each other: %s", strings.Join(given, " and "), why)}
}

// without refuses flags that mean nothing here.
func without(cmd *cobra.Command, why string, names ...string) error {
	for _, n := range names {
		if cmd.Flags().Changed(n) {
			return wrongUse{fmt.Errorf("--%s %s", n, why)}
		}
	}
	return nil
}

// given lists which of the flags are on the command line.
func given(cmd *cobra.Command, names ...string) []string {
	var out []string
	for _, n := range names {
		if cmd.Flags().Changed(n) {
			out = append(out, "--"+n)
		}
	}
	return out
}

func firstOf(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// asked marks what a calculation refused as the caller's.
func asked(err error) error {
	var use wrongUse
	if err == nil || errors.As(err, &use) {
		return err
	}
	return wrongUse{err}
}

// closest is the known word nearest to text, "" where none is within a third of
// its letters.
func closest(text string, known []string) string {
	text = strings.ToLower(strings.TrimSpace(text))
	if len(text) > 48 {
		return ""
	}
	best, least := "", 1<<30
	for _, k := range known {
		d := editDistance([]rune(text), []rune(strings.ToLower(k)))
		if d <= max(1, max(len(k), len(text))/3) && d < least {
			best, least = k, d
		}
	}
	return best
}

// editDistance is Levenshtein's.
func editDistance(a, b []rune) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range a {
		diagonal := row[0]
		row[0] = i + 1
		for j := range b {
			keep := diagonal
			if a[i] != b[j] {
				keep++
			}
			diagonal = row[j+1]
			row[j+1] = min(keep, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(b)]
}

// unknownWord is the error for a word that is none of the known ones.
func unknownWord(what, text string, known []string) error {
	hint := ""
	if c := closest(text, known); c != "" {
		hint = fmt.Sprintf(", did you mean %q?", c)
	}
	return wrongUse{fmt.Errorf("%s %q is unknown%s (known: %s)", what, text, hint, strings.Join(known, ", "))}
}

package main

import (
	"math"
	"time"

	"fabricpot/cmd/gateway/internal/units"

	"github.com/spf13/pflag"
)

// spanFlag is a time on the command line: as Go writes it, or as a garden file does,
// with days too.
type spanFlag time.Duration

func spanVar(fl *pflag.FlagSet, to *time.Duration, name string, usual time.Duration, what string) {
	*to = usual
	fl.Var((*spanFlag)(to), name, what)
}

func (s *spanFlag) Set(text string) error {
	d, err := time.ParseDuration(text)
	if err != nil {
		v, bad := units.Span().Parse(text)
		if bad != nil || math.Abs(v) > math.MaxInt64/float64(time.Second)/2 {
			return err
		}
		d = time.Duration(math.Round(v * float64(time.Second)))
	}
	*s = spanFlag(d)
	return nil
}

func (s *spanFlag) String() string {
	if *s == 0 {
		return "0" // which the help does not show
	}
	return time.Duration(*s).String()
}

func (s *spanFlag) Type() string { return "duration" }

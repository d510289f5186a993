package main

import (
	"context"
	"fmt"
	"io"
	"io/fs"
	"time"

	"fabricpot/control/garden"
	"fabricpot/sensors/w1"
)

// sinceStart is a clock that no step of the wall clock moves.
type sinceStart struct{ begun time.Time }

func (s sinceStart) Now() time.Duration { return time.Since(s.begun) }

// openThermometers reads a garden's thermometers beside the rounds, since each
// takes most of a second, until the board is let go of. It returns nil where the
// garden has none.
func (b *board) openThermometers(g *garden.Garden, devices fs.FS, tell io.Writer) (func(probe int) garden.Measured, error) {
	set, err := w1.NewSet(g, devices, sinceStart{time.Now()})
	if set == nil || err != nil {
		return nil, err
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		t := time.NewTicker(w1.Every)
		defer t.Stop()
		for told := ""; ; {
			// Told once, not every minute; the reading is absent meanwhile.
			if err := set.Measure(); err == nil {
				told = ""
			} else if err.Error() != told {
				told = err.Error()
				fmt.Fprintln(tell, told)
			}
			select {
			case <-ctx.Done():
				return
			case <-t.C:
			}
		}
	}()
	b.closers = append(b.closers, func() error { cancel(); <-ended; return nil })
	return set.TempC, nil
}

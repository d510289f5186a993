package w1

import (
	"errors"
	"fmt"
	"io/fs"
	"sync"
	"time"

	"fabricpot/control/garden"
)

// Every is how often a garden's thermometers are read, and MostAge for how long a
// reading stands in where later ones fail: mix follows the air by hours.
const (
	Every   = time.Minute
	MostAge = 10 * time.Minute
)

// Clock tells time since any origin.
type Clock interface {
	Now() time.Duration
}

// Set is a garden's thermometers. Measure belongs to one goroutine; TempC may be
// called from any other meanwhile, since measuring takes its time.
type Set struct {
	clock Clock
	of    []int // by probe, -1 for none
	dev   []*Thermometer

	mu   sync.Mutex
	last []value
}

type value struct {
	c   float64
	at  time.Duration
	has bool
	err error
}

// NewSet returns the thermometers of a garden's zones, each of which serves all
// probes of its zone; nil where there is none.
func NewSet(g *garden.Garden, devices fs.FS, clock Clock) (*Set, error) {
	s := &Set{clock: clock}
	byName := map[string]int{}
	var errs []error
	g.EachZone(func(_ *garden.Pot, z *garden.Zone) {
		n := -1
		if z.Thermometer != "" {
			at, known := byName[z.Thermometer]
			if !known {
				t, err := New(devices, z.Thermometer)
				if err != nil {
					errs = append(errs, fmt.Errorf("zone %s: %w", z.ID, err))
					return
				}
				at = len(s.dev)
				byName[z.Thermometer] = at
				s.dev = append(s.dev, t)
			}
			n = at
		}
		for range z.Probes {
			s.of = append(s.of, n)
		}
	})
	if err := errors.Join(errs...); err != nil {
		return nil, err
	}
	if len(s.dev) == 0 {
		return nil, nil
	}
	s.last = make([]value, len(s.dev))
	return s, nil
}

// Measure reads every thermometer once, one after the other. What fails keeps its
// last value until that is too old, and does not keep the others from being read.
func (s *Set) Measure() error {
	var errs []error
	for i, t := range s.dev {
		c, err := t.Read()
		s.mu.Lock()
		if s.last[i].err = err; err == nil {
			s.last[i] = value{c: c, at: s.clock.Now(), has: true}
		}
		s.mu.Unlock()
		errs = append(errs, err)
	}
	return errors.Join(errs...)
}

// Serves tells whether a probe's zone has a thermometer.
func (s *Set) Serves(probe int) bool {
	return s != nil && probe >= 0 && probe < len(s.of) && s.of[probe] >= 0
}

// TempC is the mix temperature at a probe by its number in garden.ProbeList, °C;
// absent where its zone has no thermometer or none answered lately.
func (s *Set) TempC(probe int) garden.Measured {
	if !s.Serves(probe) {
		return garden.Measured{}
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	v := s.last[s.of[probe]]
	if !v.has || s.clock.Now()-v.at > MostAge {
		return garden.Measured{}
	}
	return garden.Known(v.c)
}

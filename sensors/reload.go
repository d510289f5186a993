package sensors

import (
	"errors"
	"fmt"
	"reflect"

	"fabricpot/control/garden"
)

// Recalibrate checks the curves of another version of the garden the sampler was
// made for and returns what takes them over. Probes whose curve is the same go on
// as if nothing had happened; for the others what was read so far no longer
// counts. Probes and their inputs must be the same, in the same order.
func (s *Sampler) Recalibrate(g *garden.Garden) (apply func(), err error) {
	next, err := NewSampler(g, s.open, s.opts)
	if err != nil {
		return nil, err
	}
	if len(next.probes) != len(s.probes) {
		return nil, fmt.Errorf("sensors: %d probes instead of %d: that takes a restart", len(next.probes), len(s.probes))
	}
	for i := range s.probes {
		a, b := &s.probes[i], &next.probes[i]
		if a.id != b.id || a.zone != b.zone || a.channel != b.channel || s.chips[a.chip].input != next.chips[b.chip].input {
			return nil, fmt.Errorf("sensors: probe %s is wired in another way: that takes a restart", a.id)
		}
	}
	if next.burst != s.burst {
		return nil, errors.New("sensors: another number of conversions a sample: that takes a restart")
	}
	return func() {
		for i := range s.probes {
			p, n := &s.probes[i], &next.probes[i]
			if reflect.DeepEqual(p.curve, n.curve) {
				continue
			}
			n.opts, n.chip = p.opts, p.chip
			n.answers, n.failures, n.lastErr, n.answered, n.last.At = p.answers, p.failures, p.lastErr, p.answered, p.last.At
			n.flatV, n.flatSince, n.flatCount = p.flatV, p.flatSince, p.flatCount
			*p = *n
		}
	}, nil
}

package sensors

import (
	"errors"
	"fmt"
	"reflect"

	"fabricpot/control/garden"
)

// Recalibrate takes over the curves of another version of the garden the sampler
// was made for. Probes whose curve is the same go on as if nothing had happened;
// for the others what was read so far no longer counts. Probes and their inputs
// must be the same, in the same order. After an error nothing has changed.
func (s *Sampler) Recalibrate(g *garden.Garden) error {
	next, err := NewSampler(g, s.open, s.opts)
	if err != nil {
		return err
	}
	if len(next.probes) != len(s.probes) {
		return fmt.Errorf("sensors: %d probes instead of %d: that takes a restart", len(next.probes), len(s.probes))
	}
	for i := range s.probes {
		a, b := &s.probes[i], &next.probes[i]
		if a.id != b.id || a.zone != b.zone || a.channel != b.channel || s.chips[a.chip].input != next.chips[b.chip].input {
			return fmt.Errorf("sensors: probe %s is wired in another way: that takes a restart", a.id)
		}
	}
	if next.burst != s.burst {
		return errors.New("sensors: another number of conversions a sample: that takes a restart")
	}
	for i := range s.probes {
		p, n := &s.probes[i], &next.probes[i]
		if reflect.DeepEqual(p.curve, n.curve) {
			continue
		}
		n.opts, n.answers, n.failures, n.lastErr, n.answered = p.opts, p.answers, p.failures, p.lastErr, p.answered
		n.flatV, n.flatSince, n.flatCount = p.flatV, p.flatSince, p.flatCount
		n.last.At = p.last.At
		n.chip = p.chip
		*p = *n
	}
	return nil
}

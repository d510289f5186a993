package probe

import (
	"fmt"
	"time"

	"fabricpot/control/garden"
	"fabricpot/mqtt/payload"
	"fabricpot/mqtt/topic"
)

// DefaultMaxAge is how old a reading may become before it is stale.
const DefaultMaxAge = 10 * time.Minute

// source is a checked garden.RemoteInput.
type source struct {
	topic    string
	own      bool // the garden's own format: a number, or an object of known keys
	json     bool
	pointers [3]string // value, seq, time
	quantity garden.RemoteQuantity
	scale    float64 // from what is published to volts or water fraction
	lo, hi   float64 // what a working probe can publish, after scaling
	maxAge   time.Duration
}

func newSource(tree topic.Tree, id garden.ProbeID, in garden.RemoteInput) (source, error) {
	fail := func(format string, a ...any) (source, error) {
		return source{}, fmt.Errorf("probe %s: "+format, append([]any{id}, a...)...)
	}
	s := source{topic: in.Topic, quantity: in.Quantity, scale: 1, maxAge: in.MaxAge, pointers: [3]string{in.Value, in.Seq, in.Time}}
	s.json = in.Value != "" || in.Seq != "" || in.Time != ""
	if in.Topic == "" {
		s.topic, s.own = tree.Of(topic.Probe, string(id)), true
		if s.json {
			return fail("pointers are for a topic of its own; the garden's own topic has its own format")
		}
		s.pointers = [3]string{"/value", "/seq", "/time"}
	}
	if !topic.ValidName(s.topic) {
		return fail("topic %q cannot be subscribed to as one topic", s.topic)
	}
	for _, p := range s.pointers {
		if !payload.ValidPointer(p) {
			return fail("%q is no JSON pointer, expected one like /soil/0/value", p)
		}
	}
	switch in.Quantity {
	case garden.RemoteCounts:
		if !garden.Finite(in.VoltsPerCount) || in.VoltsPerCount <= 0 {
			return fail("counts need the volts per count, found %v", in.VoltsPerCount)
		}
		s.scale, s.lo, s.hi = in.VoltsPerCount, -1, 30
	case garden.RemoteVolts:
		s.lo, s.hi = -1, 30
	case garden.RemoteWater:
		s.lo, s.hi = 0, 1
	case garden.RemotePercent:
		s.scale, s.lo, s.hi = 0.01, 0, 1
	default:
		return fail("quantity %q, expected counts, volts, water or percent", in.Quantity)
	}
	if s.maxAge == 0 {
		s.maxAge = DefaultMaxAge
	}
	if s.maxAge < time.Second || s.maxAge > 24*time.Hour {
		return fail("stale after %v, expected one second to a day", s.maxAge)
	}
	return s, nil
}

// sample is one decoded message.
type sample struct {
	value          float64 // volts or water fraction
	seq            uint64
	unix           float64
	hasSeq, hasSec bool
}

// decode reads one payload. An error says what was wrong with it.
func (s *source) decode(b []byte) (sample, error) {
	var out sample
	asJSON := s.json || s.own && len(b) > 0 && b[0] == '{'
	if !asJSON {
		v, err := payload.Number(b)
		out.value = v * s.scale
		return out, err
	}
	// An unused pointer must find nothing: no document has this key twice over.
	var values [3]float64
	var found [3]bool
	pointers := s.pointers
	n := 3
	for n > 1 && pointers[n-1] == "" {
		n--
	}
	if err := payload.Values(b, pointers[:n], values[:n], found[:n]); err != nil {
		return out, err
	}
	if !found[0] {
		return out, fmt.Errorf("no value at %q", pointers[0])
	}
	out.value = values[0] * s.scale
	if found[1] && pointers[1] != "" {
		if v := values[1]; v < 0 || v != float64(uint64(v)) || v > 1<<53 {
			return out, fmt.Errorf("sequence number %v, expected a whole number from 0", v)
		}
		out.seq, out.hasSeq = uint64(values[1]), true
	}
	if found[2] && pointers[2] != "" {
		out.unix, out.hasSec = values[2], true
	}
	return out, nil
}

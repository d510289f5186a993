package garden

import "time"

// Pulses is what a counting line saw so far. It is a copy; the counter only
// grows.
type Pulses struct {
	// Total are pulses in all, lost ones included and bounces left out.
	Total uint64
	// Lost of them happened while the kernel's queue was full: its numbers jump,
	// so how many is known, but not when.
	Lost uint64
	// Bounced are edges that followed another too soon to be a pulse.
	Bounced uint64
	// At is when the last one came, on the kernel's monotonic clock.
	At time.Duration
	// Err tells why nothing is counted at present; nil while the line is held.
	Err error
}

// Tally makes Pulses of edges. It belongs to one goroutine; the zero Tally has
// counted nothing.
type Tally struct {
	// Dead is how soon after a pulse no other can come: an edge within it is a
	// bounce. 0 lets every edge count.
	Dead time.Duration

	seen Pulses
	any  bool
	seq  uint32
}

// Take counts one edge. at is its time and seq its number in the sequence of this
// line's edges, both by the kernel. The number counts edges that were dropped as
// well, so a gap is pulses that nobody handed over: they are added. It wraps.
func (t *Tally) Take(at time.Duration, seq uint32) {
	lost := uint64(0)
	if t.any {
		// A step back is a new start of the sequence, not four thousand million
		// pulses.
		if step := seq - t.seq; step > 1 && step < 1<<31 {
			lost = uint64(step - 1)
		}
	} else if seq > 1 && seq < 1<<31 {
		lost = uint64(seq - 1) // a sequence begins with 1
	}
	soon := t.any && lost == 0 && t.Dead > 0 && at-t.seen.At < t.Dead && at >= t.seen.At
	t.any, t.seq = true, seq
	t.seen.Lost += lost
	t.seen.Total += lost
	if soon {
		t.seen.Bounced++
		return
	}
	t.seen.Total++
	t.seen.At = at
}

// Restart tells that the sequence begins anew, with what was counted kept.
func (t *Tally) Restart() { t.any = false }

// Seen is what was counted so far.
func (t *Tally) Seen() Pulses { return t.seen }

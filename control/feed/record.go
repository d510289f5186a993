package feed

import (
	"time"

	"fabricpot/control/garden"
)

// RecordKind is what happened in a feed.
type RecordKind uint8

const (
	// Begun: a feed was begun. Litres is the whole planned amount.
	Begun RecordKind = iota + 1
	// PulseIntended: a pulse of feed is about to be ordered. Litres counts
	// against the cap from here on, whatever becomes of it.
	PulseIntended
	// PulseSettled: what a pulse gave. Uncertain where nobody saw its end; it
	// is then taken as given in full.
	PulseSettled
	// WaterIntended: plain water is about to be ordered to carry feed down.
	WaterIntended
	// Ended: the feed is over. Litres is what it gave.
	Ended
	// HandOpened: a task for the gardener was opened. Litres is the amount.
	HandOpened
	// HandGiven: a person gave feed. It ends an open task.
	HandGiven
	// HandDropped: the gardener said that this feed will not be given.
	HandDropped
	// HandWithdrawn: the task was taken back, because drainage read salty: the
	// feed comes after a flush.
	HandWithdrawn
	// FlushBegun: a flush with plain water through the zone's line was begun.
	// Litres is the whole amount.
	FlushBegun
	// FlushIntended: a pulse of it is about to be ordered; it counts as given
	// from here on. FlushSettled: what it gave.
	FlushIntended
	FlushSettled
	// FlushEnded: the flush is over. It is never carried on after a restart.
	FlushEnded
	// DoseIntended: a watering is about to be ordered that carries weak feed. It
	// counts as given from here on. DoseSettled: what of it carried feed.
	DoseIntended
	DoseSettled
	// FlushedAlong: a flush of another zone on the same line came through this one.
	// Litres is its share, RoomL what a flush of its own would have given.
	FlushedAlong
)

var recordKinds = [...]string{"", "begun", "pulse intended", "pulse settled", "water intended", "ended", "task opened", "given by hand", "not given", "taken back", "flush begun", "flush intended", "flush settled", "flush ended", "watering with feed intended", "watering with feed", "flushed along"}

func (k RecordKind) String() string {
	if int(k) < len(recordKinds) {
		return recordKinds[k]
	}
	return "unknown"
}

// Record is one line of a zone's feeding journal. The records of a zone, in the
// order they were written, are all that a restart needs.
type Record struct {
	Kind RecordKind
	Zone garden.ZoneID
	Feed garden.FeedID
	// At is civil time as the sequence trusts it.
	At time.Time
	// Pulse counts a feed's pulses from 1.
	Pulse int
	// Litres reached, or are meant to reach, the zone. For a line that serves
	// several zones this is the zone's own share.
	Litres float64
	// ClosingL is, on Begun, the part of Litres kept for the closing dose.
	ClosingL float64
	// RoomL is, on Begun, how much the zone could take without draining; on
	// FlushBegun what the whole flush takes, of which today's may be a part.
	RoomL float64
	// NPPM, PPPM and KPPM are the solution's strength, mg/L.
	PPM NPK
	// Stage is the plants' stage.
	Stage Stage
	Why   DueWhy
	// Uncertain marks an amount that nobody saw delivered.
	Uncertain bool
}

// Grams is what the record's litres hold, g.
func (r Record) Grams() NPK { return r.PPM.Times(r.Litres / 1000) }

// Gives reports whether the record adds nutrients to the zone's ledger.
func (r Record) Gives() bool {
	return r.Kind == PulseSettled || r.Kind == HandGiven || r.Kind == DoseSettled
}

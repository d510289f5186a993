package feed

import (
	"errors"
	"fmt"

	"fabricpot/control/garden"
)

// ErrAsk is what a report of a feed by hand gets that looks like a repetition:
// ask the person whether it was given a second time, then report it confirmed.
var ErrAsk = errors.New("feed: was already given")

// Given makes the record of a feed that a person gave, and applies it. litres
// of ready solution reached the zone at strength ppm. Without an open task and
// within MinGap of the last feed it answers ErrAsk unless confirmed, so that
// what was done once is not entered twice. What was really given is never
// refused for being over a cap: the account must know it.
func (s *State) Given(p *Plan, now garden.Moment, litres float64, ppm NPK, stage Stage, confirmed bool) (Record, error) {
	if p.Plants <= 0 {
		return Record{}, fmt.Errorf("feed: zone %q has no plants, expected at least one: enter the plants first", p.Zone)
	}
	if !garden.Finite(litres) || litres <= 0 || litres > p.VolumeL {
		return Record{}, fmt.Errorf("feed: zone %q: %v L given, expected more than 0 up to the pot's %.0f L", p.Zone, litres, p.VolumeL)
	}
	if !ppm.Valid() {
		return Record{}, fmt.Errorf("feed: zone %q: strength %+v mg/L, expected finite amounts of 0 or more", p.Zone, ppm)
	}
	at, known := s.clock.tick(now)
	if !known && at.IsZero() {
		at = now.Wall
	}
	// In the middle of a feed of ours it belongs to that one and takes the place
	// of what is left of it.
	id := s.feed
	if s.phase == Waiting || s.phase == Moistening || s.phase == Flushing {
		id++
	}
	if s.phase != WithGardener {
		if since := at.Sub(s.last); s.everFed && since < MinGap && !confirmed {
			return Record{}, fmt.Errorf("%w: zone %q was fed %.1f days ago: say so if this is a second feed", ErrAsk, p.Zone, max(0, since.Hours()/24))
		}
	}
	r := Record{Kind: HandGiven, Zone: p.Zone, Feed: id, At: at, Litres: litres, PPM: ppm, Stage: stage, Why: s.why}
	s.Apply(r)
	return r, nil
}

// Drop makes the record that an open task will not be done, and applies it. The
// next feed is then due an interval later.
func (s *State) Drop(p *Plan, now garden.Moment) (Record, error) {
	if s.phase != WithGardener {
		return Record{}, fmt.Errorf("feed: zone %q has no open feeding task to drop", p.Zone)
	}
	at, known := s.clock.tick(now)
	if !known && at.IsZero() {
		at = now.Wall
	}
	r := Record{Kind: HandDropped, Zone: p.Zone, Feed: s.feed, At: at, PPM: s.ppm, Stage: s.stage, Why: s.why}
	s.Apply(r)
	return r, nil
}

// Withdraw makes the record that an open task is taken back, and applies it: the
// feed stays due.
func (s *State) Withdraw(p *Plan, now garden.Moment) Record {
	at, known := s.clock.tick(now)
	if !known && at.IsZero() {
		at = now.Wall
	}
	r := Record{Kind: HandWithdrawn, Zone: p.Zone, Feed: s.feed, At: at, PPM: s.ppm, Stage: s.stage, Why: s.why}
	s.Apply(r)
	return r
}

package feeding

import (
	"errors"
	"fmt"
	"reflect"

	"fabricpot/control/feed"
	"fabricpot/control/garden"
)

// ErrFeeding tells that a feed is under way.
var ErrFeeding = errors.New("feeding: a feed is under way")

// Reload checks whether a state that another plan of the same garden made can be
// carried on, and returns what makes it p's from then on. What was fed, the ledgers and the list of work stay. records are
// the zones' feeds as the journal has them, oldest first, for a zone that was
// not fed before and now is. Zones must be the same, in the same order, and no
// feed of a zone whose feeding changed may be under way (ErrFeeding).
func (p *Plan) Reload(old *Plan, st *State, records []feed.Record) (apply func(), err error) {
	if old == nil || len(old.zones) != len(p.zones) || len(st.zones) != len(p.zones) {
		return nil, errors.New("feeding: another number of zones: that takes a restart")
	}
	fresh := make([]*feed.State, len(p.zones))
	for i := range p.zones {
		was, to, zs := &old.zones[i], &p.zones[i], &st.zones[i]
		if was.zone != to.zone {
			return nil, fmt.Errorf("feeding: zone %s is another: that takes a restart", was.zone)
		}
		if reflect.DeepEqual(was, to) {
			fresh[i] = zs.seq
			continue
		}
		if zs.seq != nil && (zs.seq.Busy() || zs.order != 0) {
			return nil, fmt.Errorf("%w in %s", ErrFeeding, was.zone)
		}
		switch {
		case to.feed == nil:
		case zs.seq != nil && was.feed.Line == to.feed.Line:
			fresh[i] = zs.seq
		default:
			if fresh[i], err = feed.Rebuild(to.feed, of(records, to.zone)); err != nil {
				return nil, err
			}
		}
	}
	return func() {
		for i := range p.zones {
			if zs := &st.zones[i]; p.saltKnown() && !old.saltKnown() && fresh[i] != nil && zs.has {
				// Nothing was reckoned so far.
				zs.salts = p.freshSalts(i, p.zones[i].capacity, zs.ledger.Pool.N)
				zs.salts.Guess = true
			}
			if reflect.DeepEqual(&old.zones[i], &p.zones[i]) {
				continue
			}
			zs := &st.zones[i]
			zs.seq, zs.drying, zs.washLater = fresh[i], false, false
			// Looked at again before anything is due.
			zs.due, zs.held, st.hasHour = feed.Due{}, feed.Held{}, false
		}
	}, nil
}

func of(records []feed.Record, z garden.ZoneID) []feed.Record {
	var out []feed.Record
	for _, r := range records {
		if r.Zone == z {
			out = append(out, r)
		}
	}
	return out
}

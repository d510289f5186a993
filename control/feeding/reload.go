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

// Reload carries a state on that another plan of the same garden made: from now
// on it is p's. What was fed, the ledgers and the list of work stay. records are
// the zones' feeds as the journal has them, oldest first, for a zone that was
// not fed before and now is. Zones must be the same, in the same order, and no
// feed of a zone whose feeding changed may be under way (ErrFeeding). After an
// error nothing has changed.
func (p *Plan) Reload(old *Plan, st *State, records []feed.Record) error {
	if old == nil || len(old.zones) != len(p.zones) || len(st.zones) != len(p.zones) {
		return errors.New("feeding: another number of zones: that takes a restart")
	}
	fresh := make([]*feed.State, len(p.zones))
	for i := range p.zones {
		was, to, zs := &old.zones[i], &p.zones[i], &st.zones[i]
		if was.zone != to.zone {
			return fmt.Errorf("feeding: zone %s is another: that takes a restart", was.zone)
		}
		if reflect.DeepEqual(was, to) {
			fresh[i] = zs.seq
			continue
		}
		if zs.seq != nil && (zs.seq.Busy() || zs.order != 0) {
			return fmt.Errorf("%w in %s", ErrFeeding, was.zone)
		}
		switch {
		case to.feed == nil:
		case zs.seq != nil && was.feed.Line == to.feed.Line:
			fresh[i] = zs.seq
		default:
			var err error
			if fresh[i], err = feed.Rebuild(to.feed, of(records, to.zone)); err != nil {
				return err
			}
		}
	}
	for i := range p.zones {
		zs := &st.zones[i]
		if reflect.DeepEqual(&old.zones[i], &p.zones[i]) {
			continue
		}
		zs.seq, zs.drying = fresh[i], false
		// Looked at again before anything is due.
		zs.due, zs.held = feed.Due{}, feed.Held{}
		st.hasHour = false
	}
	return nil
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

package journal

import (
	"database/sql"
	"time"

	"fabricpot/control/garden"
)

// Standing returns what people asked for that outlives a restart: that automatic
// control is off, and the zones kept shut until a time that has not come. Each
// comes with Until's civil time and, in Until.Mono, how long it was asked for;
// oldest first.
func (j *Journal) Standing(now time.Time) ([]garden.Ask, error) {
	var s standing
	err := j.query("standing requests", func(rows *sql.Rows) error {
		var a garden.Ask
		var at int64
		var until sql.NullInt64
		if err := rows.Scan(&at, &a.Kind, &a.Zone, &until, &a.Who); err != nil {
			return err
		}
		if until.Valid {
			a.Until.Wall = time.UnixMilli(until.Int64).UTC()
			a.Until.Mono = a.Until.Wall.Sub(time.UnixMilli(at))
		}
		s.add(a)
		return nil
	}, `SELECT at_wall,kind,zone,until_wall,who FROM asks WHERE kind IN (?,?,?,?) ORDER BY id`,
		int(garden.AskAutoOff), int(garden.AskAutoOn), int(garden.AskShut), int(garden.AskRelease))
	if err != nil {
		return nil, err
	}
	return s.by(now), nil
}

// standing adds requests up, oldest first, to what holds of them.
type standing struct {
	auto  *garden.Ask
	shut  map[garden.ZoneID]garden.Ask
	order []garden.ZoneID
}

func (s *standing) add(a garden.Ask) {
	if s.shut == nil {
		s.shut = map[garden.ZoneID]garden.Ask{}
	}
	switch a.Kind {
	case garden.AskAutoOff:
		s.auto = &a
	case garden.AskAutoOn:
		s.auto = nil
	case garden.AskShut:
		if _, known := s.shut[a.Zone]; !known {
			s.order = append(s.order, a.Zone)
		}
		s.shut[a.Zone] = a
	case garden.AskRelease:
		if a.Zone == "" {
			clear(s.shut)
		}
		delete(s.shut, a.Zone)
	}
}

// by is what still holds then.
func (s *standing) by(now time.Time) []garden.Ask {
	var out []garden.Ask
	if s.auto != nil {
		out = append(out, *s.auto)
	}
	for _, z := range s.order {
		if a, still := s.shut[z]; still && a.Until.Wall.After(now) {
			out = append(out, a)
			delete(s.shut, z)
		}
	}
	return out
}

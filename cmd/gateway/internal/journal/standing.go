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
	var auto *garden.Ask
	shut := map[garden.ZoneID]garden.Ask{}
	var order []garden.ZoneID
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
		switch a.Kind {
		case garden.AskAutoOff:
			auto = &a
		case garden.AskAutoOn:
			auto = nil
		case garden.AskShut:
			if _, known := shut[a.Zone]; !known {
				order = append(order, a.Zone)
			}
			shut[a.Zone] = a
		case garden.AskRelease:
			if a.Zone == "" {
				clear(shut)
			}
			delete(shut, a.Zone)
		}
		return nil
	}, `SELECT at_wall,kind,zone,until_wall,who FROM asks WHERE kind IN (?,?,?,?) ORDER BY id`,
		int(garden.AskAutoOff), int(garden.AskAutoOn), int(garden.AskShut), int(garden.AskRelease))
	if err != nil {
		return nil, err
	}
	var out []garden.Ask
	if auto != nil {
		out = append(out, *auto)
	}
	for _, z := range order {
		if a, still := shut[z]; still && a.Until.Wall.After(now) {
			out = append(out, a)
			delete(shut, z)
		}
	}
	return out, nil
}

package journal

import (
	"database/sql"
	"time"

	"fabricpot/control/feeding"
	"fabricpot/control/garden"
)

// Week is what a zone's samples of the last seven days say: how often its mean
// went under the refill point of its time, for how many hours it stood over
// capacity, the extremes its probes measured, and where it stands now.
func (j *Journal) Week(zone garden.ZoneID, probes []garden.ProbeID, capacity float64, now time.Time) (feeding.Week, error) {
	const hours = 7 * 24
	var w feeding.Week
	points, err := j.ZoneSeries(zone, now.Add(-hours*time.Hour), now, hours)
	if err != nil {
		return w, err
	}
	if len(points) > 0 {
		var dips, full float64
		under := false
		for _, p := range points {
			if p.Refill.Known {
				is := p.Mean < p.Refill.Value
				if is && !under {
					dips++
				}
				under = is
			}
			if p.Mean > capacity {
				full++
			}
		}
		last := points[len(points)-1]
		w.Dips, w.SaturatedHours = garden.Known(dips), garden.Known(full)
		if now.Sub(last.At) < 3*time.Hour {
			w.Water, w.Refill = garden.Known(last.Mean), last.Refill
		}
	}
	for _, id := range probes {
		err := j.query("temperatures of "+string(id), func(rows *sql.Rows) error {
			var lo, hi sql.NullFloat64
			if err := rows.Scan(&lo, &hi); err != nil {
				return err
			}
			if l := known(lo); l.Known && l.Value < w.ColdestC.Or(1e9) {
				w.ColdestC = l
			}
			if h := known(hi); h.Known && h.Value > w.HottestC.Or(-1e9) {
				w.HottestC = h
			}
			return nil
		}, `SELECT min(temp_c), max(temp_c) FROM `+j.samplesFrom()+` WHERE probe=(SELECT id FROM names WHERE name=?1) AND at_wall>=?2`,
			"probe "+string(id), now.Add(-hours*time.Hour).UnixMilli())
		if err != nil {
			return w, err
		}
	}
	return w, nil
}

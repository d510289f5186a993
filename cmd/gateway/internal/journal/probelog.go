package journal

import (
	"database/sql"
	"time"

	"fabricpot/control/garden"
)

// ProbeReading is a kept reading of a probe beside its mix temperature.
type ProbeReading struct {
	At    time.Time
	Water garden.WaterFraction
	TempC float64
}

// ProbeReadings returns a probe's good readings between two times that have a
// mix temperature, oldest first and at most so many. Water is what was read then,
// with the calibration of then.
func (j *Journal) ProbeReadings(p garden.ProbeID, from, to time.Time, most int) ([]ProbeReading, error) {
	var out []ProbeReading
	err := j.query("probe readings", func(rows *sql.Rows) error {
		var at int64
		var r ProbeReading
		if err := rows.Scan(&at, &r.Water, &r.TempC); err != nil {
			return err
		}
		r.At = time.UnixMilli(at).UTC()
		out = append(out, r)
		return nil
	}, `SELECT at_wall,water,temp_c FROM `+j.samplesFrom()+` WHERE probe=(SELECT id FROM names WHERE name=?1) AND at_wall BETWEEN ?2 AND ?3
		AND water IS NOT NULL AND temp_c IS NOT NULL AND quality=?4 ORDER BY at_wall LIMIT ?5`,
		"probe "+string(p), from.UnixMilli(), to.UnixMilli(), int(garden.Good), most)
	return out, err
}

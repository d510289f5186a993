package journal

import (
	"context"
	"database/sql"
	"time"

	"fabricpot/control/garden"
)

// schema3 keeps how sure the estimate of a zone's water was, and the weather.
const schema3 = `
ALTER TABLE zones ADD COLUMN sd REAL;
CREATE TABLE skies(
	at_wall INTEGER PRIMARY KEY, at_synced INTEGER NOT NULL,
	air_c REAL, rain_mm REAL, day_min_c REAL, day_max_c REAL, day_rain_mm REAL);
`

// skyVersion is the schema that first had skies and the zones' sd.
const skyVersion = 3

// SkySample is the weather over a few minutes.
type SkySample struct {
	At garden.Moment
	// AirC is the mean air temperature, °C, RainMM the rain of those minutes,
	// mm; absent where nothing measures them.
	AirC, RainMM garden.Measured
	// DayMinC, DayMaxC and DayRainMM are what was known or expected of the whole
	// day at that moment, °C and mm.
	DayMinC, DayMaxC, DayRainMM garden.Measured
}

// AddSky keeps the weather of a moment; of two of one millisecond the later.
func (j *Journal) AddSky(s SkySample) error {
	return j.write("weather", func(ctx context.Context, tx *sql.Tx) error { return addSky(ctx, tx, &s) })
}

func addSky(ctx context.Context, tx *sql.Tx, s *SkySample) error {
	_, err := tx.ExecContext(ctx, `INSERT OR REPLACE INTO skies(at_wall,at_synced,air_c,rain_mm,day_min_c,day_max_c,day_rain_mm) VALUES(?,?,?,?,?,?,?)`,
		s.At.Wall.UnixMilli(), s.At.Synced, measured(s.AirC), measured(s.RainMM), measured(s.DayMinC), measured(s.DayMaxC), measured(s.DayRainMM))
	return err
}

// Skies returns the weather between two times, oldest first; none where the
// journal is older than keeping it.
func (j *Journal) Skies(from, to time.Time) ([]SkySample, error) {
	if j.version < skyVersion {
		return nil, nil
	}
	var out []SkySample
	err := j.query("weather", func(rows *sql.Rows) error {
		var s SkySample
		var at int64
		var v [5]sql.NullFloat64
		if err := rows.Scan(&at, &s.At.Synced, &v[0], &v[1], &v[2], &v[3], &v[4]); err != nil {
			return err
		}
		s.At.Wall = time.UnixMilli(at).UTC()
		s.AirC, s.RainMM, s.DayMinC, s.DayMaxC, s.DayRainMM = known(v[0]), known(v[1]), known(v[2]), known(v[3]), known(v[4])
		out = append(out, s)
		return nil
	}, `SELECT at_wall,at_synced,air_c,rain_mm,day_min_c,day_max_c,day_rain_mm FROM skies
		WHERE at_wall BETWEEN ? AND ? ORDER BY at_wall`, from.UnixMilli(), to.UnixMilli())
	return out, err
}

// RainSpan is the rain of one part of a span.
type RainSpan struct {
	At time.Time
	MM float64
}

// Rain adds the rain between two times up in that many equal parts, oldest
// first; parts without rain are left out. Where nothing measured it, the day's
// row of a forecast is not taken for rain that fell.
func (j *Journal) Rain(from, to time.Time, parts int) ([]RainSpan, error) {
	if j.version < skyVersion {
		return nil, nil
	}
	a, b := from.UnixMilli(), to.UnixMilli()
	if b <= a || parts < 1 {
		return nil, nil
	}
	bucket := (b-a)/int64(parts) + 1
	var out []RainSpan
	err := j.query("rain", func(rows *sql.Rows) error {
		var n int64
		var s RainSpan
		if err := rows.Scan(&n, &s.MM); err != nil {
			return err
		}
		s.At = time.UnixMilli(a + n*bucket).UTC()
		out = append(out, s)
		return nil
	}, `SELECT (at_wall-?1)/?3, sum(rain_mm) FROM skies WHERE at_wall BETWEEN ?1 AND ?2 AND rain_mm>0 GROUP BY 1 ORDER BY 1`, a, b, bucket)
	return out, err
}

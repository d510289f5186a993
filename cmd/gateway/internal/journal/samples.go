package journal

import (
	"context"
	"database/sql"
	"time"

	"fabricpot/control/garden"
)

// ZoneSample is what a zone was at one moment.
type ZoneSample struct {
	Zone garden.ZoneID
	At   garden.Moment
	// Water is the zone's mean water fraction, Refill and Capacity the marks
	// it is held against, as water fractions.
	Water, Refill, Capacity garden.Measured
	// SD is the standard deviation of Water, m³/m³.
	SD    garden.Measured
	State garden.ZoneState
}

// Batch is some ticks' worth of samples.
type Batch struct {
	Readings []garden.Reading
	Zones    []ZoneSample
	Skies    []SkySample
}

const (
	addSample = `INSERT INTO recent_samples(probe,at_wall,at_synced,volts,water,temp_c,quality,fault)`
	addZone   = `INSERT INTO recent_zones(zone,at_wall,at_synced,water,refill,capacity,state,sd)`
)

// AddSamples writes a batch in one transaction. Of two samples of one probe or
// zone in the same millisecond the later wins.
func (j *Journal) AddSamples(b Batch) error {
	if len(b.Readings) == 0 && len(b.Zones) == 0 && len(b.Skies) == 0 {
		return nil
	}
	var fresh []string
	due := false
	err := j.write("samples", func(ctx context.Context, tx *sql.Tx) error {
		rows := rowsInto{ctx: ctx, many: tx.StmtContext(ctx, j.stmts.samples), one: tx.StmtContext(ctx, j.stmts.sample)}
		for i := range b.Readings {
			r := &b.Readings[i]
			id, err := j.name(ctx, tx, "probe "+string(r.Probe), &fresh)
			if err != nil {
				return err
			}
			water := number(float64(r.Water))
			if r.Quality == garden.Bad {
				water = nil // meaningless, and never zero
			}
			j.recent.take(id, r.At.Wall.UnixMilli())
			if err := rows.add([rowWide]any{id, r.At.Wall.UnixMilli(), r.At.Synced,
				number(float64(r.Volts)), water, measured(r.TempC), int(r.Quality), int(r.Fault)}); err != nil {
				return err
			}
		}
		if err := rows.rest(); err != nil {
			return err
		}
		rows.many, rows.one = tx.StmtContext(ctx, j.stmts.zones), tx.StmtContext(ctx, j.stmts.zone)
		for i := range b.Zones {
			z := &b.Zones[i]
			id, err := j.name(ctx, tx, "zone "+string(z.Zone), &fresh)
			if err != nil {
				return err
			}
			j.recent.take(id, z.At.Wall.UnixMilli())
			if err := rows.add([rowWide]any{id, z.At.Wall.UnixMilli(), z.At.Synced,
				measured(z.Water), measured(z.Refill), measured(z.Capacity), int(z.State), measured(z.SD)}); err != nil {
				return err
			}
		}
		if err := rows.rest(); err != nil {
			return err
		}
		for i := range b.Skies {
			if err := addSky(ctx, tx, &b.Skies[i]); err != nil {
				return err
			}
		}
		// What fails after this was still tried: sorted in a little early.
		j.recent.batches++
		due = j.recent.due()
		return nil
	})
	if err != nil && len(fresh) > 0 {
		j.writing.Lock()
		for _, s := range fresh {
			delete(j.names, s)
		}
		j.writing.Unlock()
	}
	if err == nil && due {
		// In a transaction of its own: the batch is kept whatever comes of it,
		// and an intent waits for one of them at most.
		err = j.sortIn()
	}
	return err
}

// Point is one step of a chart: the mean, least and most of N samples in the
// span that begins At.
type Point struct {
	At             time.Time
	Mean, Min, Max float64
	Refill         garden.Measured
	// SD is how unsure the estimate was, one standard deviation, m³/m³.
	SD garden.Measured
	N  int
}

// ZoneSeries returns a zone's mean water fraction between two times, at most
// that many points, oldest first; spans without a known value are left out.
func (j *Journal) ZoneSeries(z garden.ZoneID, from, to time.Time, points int) ([]Point, error) {
	sd := "avg(sd)"
	if j.version < skyVersion {
		sd = "NULL"
	}
	return j.series(`SELECT min(at_wall), avg(water), min(water), max(water), avg(refill), `+sd+`, count(*)
		FROM `+j.zonesFrom()+` WHERE zone=(SELECT id FROM names WHERE name=?1) AND at_wall BETWEEN ?2 AND ?3 AND water IS NOT NULL
		GROUP BY (at_wall-?2)/?4 ORDER BY 1`, "zone "+string(z), from, to, points)
}

// ProbeSeries is the same of what a probe read at its own depth, good and
// uncertain readings alike.
func (j *Journal) ProbeSeries(p garden.ProbeID, from, to time.Time, points int) ([]Point, error) {
	return j.series(`SELECT min(at_wall), avg(water), min(water), max(water), NULL, NULL, count(*)
		FROM `+j.samplesFrom()+` WHERE probe=(SELECT id FROM names WHERE name=?1) AND at_wall BETWEEN ?2 AND ?3 AND water IS NOT NULL
		GROUP BY (at_wall-?2)/?4 ORDER BY 1`, "probe "+string(p), from, to, points)
}

func (j *Journal) series(q, name string, from, to time.Time, points int) ([]Point, error) {
	a, b := from.UnixMilli(), to.UnixMilli()
	if b < a || points < 1 {
		return nil, nil
	}
	bucket := (b-a)/int64(points) + 1
	var out []Point
	err := j.query("series of "+name, func(rows *sql.Rows) error {
		var at int64
		var p Point
		var refill, sd sql.NullFloat64
		if err := rows.Scan(&at, &p.Mean, &p.Min, &p.Max, &refill, &sd, &p.N); err != nil {
			return err
		}
		p.At, p.SD = time.UnixMilli(at).UTC(), known(sd)
		if refill.Valid {
			p.Refill = garden.Known(refill.Float64)
		}
		out = append(out, p)
		return nil
	}, q, name, a, b, bucket)
	return out, err
}

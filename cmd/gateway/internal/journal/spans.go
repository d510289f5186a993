package journal

import (
	"database/sql"
	"time"

	"fabricpot/control/garden"
)

// schemaSpans keeps each zone's water by quarter hours, two hours and days, as
// it is sorted in: a season is drawn from two hundred rows, not from as many
// thousand samples. Its indices find a line's water, a zone's decisions and the
// rain without reading everybody else's.
const schemaSpans = `
CREATE TABLE spans(
	zone INTEGER NOT NULL, length INTEGER NOT NULL, at_wall INTEGER NOT NULL,
	n INTEGER NOT NULL, sum REAL NOT NULL, least REAL NOT NULL, most REAL NOT NULL,
	refill_n INTEGER NOT NULL, refill_sum REAL NOT NULL, sd_n INTEGER NOT NULL, sd_sum REAL NOT NULL,
	PRIMARY KEY(zone, length, at_wall)) WITHOUT ROWID;
CREATE INDEX outcomes_line ON outcomes(line, closed_wall, litres);
CREATE INDEX decisions_zone ON decisions(zone);
CREATE INDEX skies_rain ON skies(at_wall, rain_mm) WHERE rain_mm>0;
`

// spansVersion is the schema that first had spans.
const spansVersion = 5

// spanLengths are the lengths that are kept, the shortest first.
func spanLengths() []time.Duration {
	return []time.Duration{15 * time.Minute, 2 * time.Hour, 24 * time.Hour}
}

// addSpans adds the recent samples of the zones from ?2 to ?3 to their spans of
// length ?1. What is before 1970 is rounded down too.
const addSpans = `INSERT INTO spans(zone,length,at_wall,n,sum,least,most,refill_n,refill_sum,sd_n,sd_sum)
	SELECT zone, ?1, ` + spanAt + `, count(*), sum(water), min(water), max(water),
		count(refill), coalesce(sum(refill),0), count(sd), coalesce(sum(sd),0)
	FROM recent_zones WHERE zone BETWEEN ?2 AND ?3 AND water IS NOT NULL GROUP BY 1,3
	ON CONFLICT DO UPDATE SET n=n+excluded.n, sum=sum+excluded.sum, least=min(least,excluded.least), most=max(most,excluded.most),
		refill_n=refill_n+excluded.refill_n, refill_sum=refill_sum+excluded.refill_sum, sd_n=sd_n+excluded.sd_n, sd_sum=sd_sum+excluded.sd_sum`

// spanAt is where the span of length ?1 begins that a sample is in.
const spanAt = `at_wall-((at_wall%?1)+?1)%?1`

// floor rounds down to a multiple, before 1970 too.
func floor(v, step int64) int64 {
	r := v % step
	if r < 0 {
		r += step
	}
	return v - r
}

// ZoneCourse is ZoneSeries from the spans that are kept: what begins and ends
// within a span counts with the whole of it, so that the two ends are as sharp
// as a span is long. Where no span is short enough, or the journal is older than
// keeping them, it is read from the samples.
func (j *Journal) ZoneCourse(z garden.ZoneID, from, to time.Time, points int) ([]Point, error) {
	a, b := from.UnixMilli(), to.UnixMilli()
	if b <= a || points < 1 {
		return nil, nil
	}
	length := int64(0)
	for _, l := range spanLengths() {
		if l.Milliseconds() <= (b-a)/int64(points) {
			length = l.Milliseconds()
		}
	}
	if length == 0 || j.version < spansVersion {
		return j.ZoneSeries(z, from, to, points)
	}
	if whole, err := j.spansCover(z, a, length); err != nil || !whole {
		if err != nil {
			return nil, err
		}
		return j.ZoneSeries(z, from, to, points)
	}
	// Points begin and end with spans.
	bucket := ((b-a)/int64(points) + length - 1) / length * length
	begin := floor(a, length)
	var out []Point
	err := j.query("course of zone "+string(z), func(rows *sql.Rows) error {
		var at int64
		var p Point
		var refill, sd sql.NullFloat64
		if err := rows.Scan(&at, &p.Mean, &p.Min, &p.Max, &refill, &sd, &p.N); err != nil {
			return err
		}
		p.At, p.Refill, p.SD = time.UnixMilli(max(at, a)).UTC(), known(refill), known(sd)
		out = append(out, p)
		return nil
	}, `SELECT min(at_wall), sum(sum)/sum(n), min(least), max(most),
			CASE WHEN sum(refill_n)>0 THEN sum(refill_sum)/sum(refill_n) END, CASE WHEN sum(sd_n)>0 THEN sum(sd_sum)/sum(sd_n) END, sum(n)
		FROM (SELECT at_wall,n,sum,least,most,refill_n,refill_sum,sd_n,sd_sum FROM spans
			WHERE zone=(SELECT id FROM names WHERE name=?2) AND length=?1 AND at_wall BETWEEN ?3 AND ?4`+j.recentSpans()+`)
		GROUP BY (at_wall-?3)/?5 ORDER BY 1`, length, "zone "+string(z), begin, b, bucket)
	return out, err
}

// recentSpans are the samples that were not yet added to their spans, each as a
// span of its own.
func (j *Journal) recentSpans() string {
	if j.version < recentVersion {
		return ""
	}
	return ` UNION ALL SELECT ` + spanAt + ` at, 1, water, water, water, refill IS NOT NULL, coalesce(refill,0), sd IS NOT NULL, coalesce(sd,0) FROM recent_zones
			WHERE zone=(SELECT id FROM names WHERE name=?2) AND water IS NOT NULL AND at BETWEEN ?3 AND ?4`
}

// spansCover tells whether the samples since a time are in the spans: those of a
// journal that began with an older schema are not.
func (j *Journal) spansCover(z garden.ZoneID, from, length int64) (bool, error) {
	var sample, first sql.NullInt64
	err := j.query("spans", func(rows *sql.Rows) error { return rows.Scan(&sample, &first) },
		`SELECT (SELECT min(at_wall) FROM zones WHERE zone=id AND at_wall>=?2 AND water IS NOT NULL),
			(SELECT min(at_wall) FROM spans WHERE zone=id AND length=?3 AND at_wall>?2-?3) FROM names WHERE name=?1`, "zone "+string(z), from, length)
	return !sample.Valid || first.Valid && first.Int64 <= sample.Int64, err
}

// GivenSpan is the water a line gave in one part of a span, L.
type GivenSpan struct {
	At     time.Time
	Litres float64
}

// Given adds up what a line gave between two times in that many equal parts,
// oldest first, by when each delivery closed; parts without water are left out.
func (j *Journal) Given(line garden.LineID, from, to time.Time, parts int) ([]GivenSpan, error) {
	return j.given("water of line "+string(line), `SELECT (closed_wall-?2)/?4, sum(litres) FROM outcomes WHERE line=?1 AND closed_wall BETWEEN ?2 AND ?3 AND litres>0 GROUP BY 1 ORDER BY 1`,
		string(line), from, to, parts)
}

// GivenByHand is Given for what people poured into a zone.
func (j *Journal) GivenByHand(zone garden.ZoneID, from, to time.Time, parts int) ([]GivenSpan, error) {
	return j.given("water by hand of "+string(zone), `SELECT (at_wall-?2)/?4, sum(litres) FROM asks WHERE zone=?1 AND kind=?5 AND at_wall BETWEEN ?2 AND ?3 AND litres>0 GROUP BY 1 ORDER BY 1`,
		string(zone), from, to, parts, int(garden.GardenerWatered))
}

func (j *Journal) given(what, query, id string, from, to time.Time, parts int, more ...any) ([]GivenSpan, error) {
	a, b := from.UnixMilli(), to.UnixMilli()
	if b <= a || parts < 1 {
		return nil, nil
	}
	bucket := (b-a)/int64(parts) + 1
	var out []GivenSpan
	err := j.query(what, func(rows *sql.Rows) error {
		var n int64
		var s GivenSpan
		if err := rows.Scan(&n, &s.Litres); err != nil {
			return err
		}
		s.At = time.UnixMilli(a + n*bucket).UTC()
		out = append(out, s)
		return nil
	}, query, append([]any{id, a, b, bucket}, more...)...)
	return out, err
}

// DecisionsOf returns a zone's latest decisions since a time, newest first.
func (j *Journal) DecisionsOf(zone garden.ZoneID, since time.Time, most int) ([]Decision, error) {
	return j.decisions(`zone=?1 AND at_wall>=?2 ORDER BY id DESC LIMIT ?3`, string(zone), since.UnixMilli(), most)
}

// NotesOf returns a zone's latest observations since a time, newest first.
func (j *Journal) NotesOf(zone garden.ZoneID, since time.Time, most int) ([]Note, error) {
	return j.notes(`zone=?1 AND at_wall>=?2 ORDER BY at_wall DESC,id DESC LIMIT ?3`, string(zone), since.UnixMilli(), most)
}

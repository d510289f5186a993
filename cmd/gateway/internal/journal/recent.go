package journal

import (
	"context"
	"database/sql"
	"strings"
)

// schemaRecent keeps the samples of the last hours in the order they come in.
// Sorted by name each batch touches a page or more for every probe and zone: a
// hundred pages were written for what fits into three. They are sorted in five
// times a day instead. The views are all there is of either.
const schemaRecent = `
CREATE TABLE recent_samples(
	at_wall INTEGER NOT NULL, probe INTEGER NOT NULL, at_synced INTEGER NOT NULL,
	volts REAL, water REAL, temp_c REAL, quality INTEGER NOT NULL, fault INTEGER NOT NULL);
CREATE TABLE recent_zones(
	at_wall INTEGER NOT NULL, zone INTEGER NOT NULL, at_synced INTEGER NOT NULL,
	water REAL, refill REAL, capacity REAL, state INTEGER NOT NULL, sd REAL);
CREATE VIEW all_samples AS
	SELECT probe,at_wall,at_synced,volts,water,temp_c,quality,fault FROM samples
	UNION ALL SELECT probe,at_wall,at_synced,volts,water,temp_c,quality,fault FROM recent_samples;
CREATE VIEW all_zones AS
	SELECT zone,at_wall,at_synced,water,refill,capacity,state,sd FROM zones
	UNION ALL SELECT zone,at_wall,at_synced,water,refill,capacity,state,sd FROM recent_zones;
`

// recentVersion is the schema that first had recent samples.
const recentVersion = 6

const (
	// sortAfter batches, or sortRows rows of a big garden, are sorted in
	// together: some dozen milliseconds' work, in which an intent has to wait.
	sortAfter = 30
	sortRows  = 9000
	// sortParts is in how many parts, by name. What SQLite sorts and may have to undo
	// stands in memory, and its allocator keeps for ever what it once had. Names of one
	// part are neighbours in the file, or pages between them would be written twice.
	sortParts = 4
	// rowsAtOnce are bound and inserted by one statement.
	rowsAtOnce = 20
)

// recent is what waits to be sorted in. Whoever writes owns it.
type recent struct {
	batches, rows int
	// last is each name's latest sample so far, ms. Where time does not go on there may be
	// two of one moment, of which the later wins: they are sorted in at once.
	last map[int64]int64
	back bool
}

func (r *recent) due() bool { return r.back || r.batches >= sortAfter || r.rows >= sortRows }

func (r *recent) take(name, at int64) {
	if r.last == nil {
		r.last = map[int64]int64{}
	}
	if last, ok := r.last[name]; ok && at <= last {
		r.back = true // and so is what follows, until time is past where it was
	} else {
		r.last[name] = at
	}
	r.rows++
}

// samplesFrom and zonesFrom name what holds all samples in a journal of this
// schema.
func (j *Journal) samplesFrom() string {
	if j.version < recentVersion {
		return "samples"
	}
	return "all_samples"
}

func (j *Journal) zonesFrom() string {
	if j.version < recentVersion {
		return "zones"
	}
	return "all_zones"
}

// waiting makes what a last run left unsorted due with the next batch.
func (j *Journal) waiting() error {
	var some bool
	err := j.easy.QueryRow(`SELECT EXISTS(SELECT 1 FROM recent_samples) OR EXISTS(SELECT 1 FROM recent_zones)`).Scan(&some)
	if some {
		j.recent.batches = sortAfter
	}
	return err
}

// sortIn moves recent samples to where they are found by name, and adds them to
// their spans, in one transaction.
func (j *Journal) sortIn() error {
	err := j.write("sort samples in", func(ctx context.Context, tx *sql.Tx) error {
		const probes, zones = `SELECT coalesce(min(probe),0), coalesce(max(probe),-1) FROM recent_samples`, `SELECT coalesce(min(zone),0), coalesce(max(zone),-1) FROM recent_zones`
		if err := inParts(ctx, tx, probes, `INSERT OR REPLACE INTO samples(probe,at_wall,at_synced,volts,water,temp_c,quality,fault)
			SELECT probe,at_wall,at_synced,volts,water,temp_c,quality,fault FROM recent_samples WHERE probe BETWEEN ?1 AND ?2 ORDER BY probe,at_wall,rowid`); err != nil {
			return err
		}
		// Before the zones, which are put into the pages that this gives free.
		if _, err := tx.ExecContext(ctx, `DELETE FROM recent_samples`); err != nil {
			return err
		}
		if err := inParts(ctx, tx, zones, `INSERT OR REPLACE INTO zones(zone,at_wall,at_synced,water,refill,capacity,state,sd)
			SELECT zone,at_wall,at_synced,water,refill,capacity,state,sd FROM recent_zones WHERE zone BETWEEN ?1 AND ?2 ORDER BY zone,at_wall,rowid`); err != nil {
			return err
		}
		for _, length := range spanLengths() {
			if err := inParts(ctx, tx, zones, addSpans, length.Milliseconds()); err != nil {
				return err
			}
		}
		_, err := tx.ExecContext(ctx, `DELETE FROM recent_zones`)
		return err
	})
	if err == nil {
		j.writing.Lock()
		j.recent = recent{last: j.recent.last}
		j.writing.Unlock()
	}
	return err
}

// inParts runs a statement for one part of the names after another, from the least to
// the greatest that bounds tells. The part's two ends follow args.
func inParts(ctx context.Context, tx *sql.Tx, bounds, q string, args ...any) error {
	var least, most int64
	if err := tx.QueryRowContext(ctx, bounds).Scan(&least, &most); err != nil {
		return err
	}
	st, err := tx.PrepareContext(ctx, q)
	if err != nil {
		return err
	}
	defer st.Close()
	names := most - least + 1
	for part := range int64(sortParts) {
		from, next := least+names*part/sortParts, least+names*(part+1)/sortParts
		if from == next {
			continue
		}
		if _, err := st.ExecContext(ctx, append(args[:len(args):len(args)], from, next-1)...); err != nil {
			return err
		}
	}
	return nil
}

// rowsOf is an insert of so many rows of eight values.
func rowsOf(insert string, rows int) string {
	return insert + " VALUES" + strings.TrimSuffix(strings.Repeat("(?,?,?,?,?,?,?,?),", rows), ",")
}

// rowWide is how many values a row of samples has.
const rowWide = 8

// rowsInto inserts rows as they come, by one statement for many of them and another
// for the rest.
type rowsInto struct {
	ctx       context.Context
	many, one *sql.Stmt
	args      []any
}

func (r *rowsInto) add(row [rowWide]any) error {
	if r.args == nil {
		r.args = make([]any, 0, rowWide*rowsAtOnce)
	}
	if r.args = append(r.args, row[:]...); len(r.args) < rowWide*rowsAtOnce {
		return nil
	}
	_, err := r.many.ExecContext(r.ctx, r.args...)
	r.args = r.args[:0]
	return err
}

func (r *rowsInto) rest() error {
	for at := 0; at < len(r.args); at += rowWide {
		if _, err := r.one.ExecContext(r.ctx, r.args[at:at+rowWide]...); err != nil {
			return err
		}
	}
	r.args = r.args[:0]
	return nil
}

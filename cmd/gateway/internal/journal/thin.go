package journal

import (
	"context"
	"database/sql"

	"fabricpot/control/garden"
)

// thinner knows one table of samples.
type thinner interface {
	// read selects name, time and the rest of the rows in a span, sorted by
	// name and time.
	read() string
	// scan reads one row.
	scan(*sql.Rows) (sampleRow, error)
	// clear deletes a span, insert puts a mean in its place.
	clear() string
	insert() string
	args(mean) []any
}

// sampleRow is a row of either table.
type sampleRow struct {
	name, at int64
	synced   bool
	values   [4]sql.NullFloat64
	// a and b are quality and fault, or the zone's state.
	a, b int64
}

// mean is rows of one name in one span, come together.
type mean struct {
	sampleRow
	sum [4]float64
	n   [4]int
}

func newMean(r sampleRow, at int64) mean {
	m := mean{sampleRow: r}
	m.at = at
	m.take(r)
	return m
}

func (m *mean) take(r sampleRow) {
	for i, v := range r.values {
		if v.Valid {
			m.sum[i] += v.Float64
			m.n[i]++
		}
	}
	m.synced = m.synced && r.synced
}

func (m *mean) value(i int) any {
	if m.n[i] == 0 {
		return nil // nothing known is no zero
	}
	return m.sum[i] / float64(m.n[i])
}

type probeThinner struct{}

func (probeThinner) read() string {
	return `SELECT probe,at_wall,at_synced,volts,water,temp_c,quality,fault FROM samples
		WHERE probe IN (SELECT id FROM names) AND at_wall>=? AND at_wall<? ORDER BY probe,at_wall`
}
func (probeThinner) scan(rows *sql.Rows) (r sampleRow, err error) {
	err = rows.Scan(&r.name, &r.at, &r.synced, &r.values[0], &r.values[1], &r.values[2], &r.a, &r.b)
	return r, err
}
func (probeThinner) clear() string {
	return `DELETE FROM samples WHERE probe IN (SELECT id FROM names) AND at_wall>=? AND at_wall<?`
}
func (probeThinner) insert() string {
	return `INSERT INTO samples(probe,at_wall,at_synced,volts,water,temp_c,quality,fault) VALUES(?,?,?,?,?,?,?,?)`
}
func (probeThinner) args(m mean) []any {
	return []any{m.name, m.at, m.synced, m.value(0), m.value(1), m.value(2), m.a, m.b}
}

type zoneThinner struct{}

func (zoneThinner) read() string {
	return `SELECT zone,at_wall,at_synced,water,refill,capacity,sd,state FROM zones
		WHERE zone IN (SELECT id FROM names) AND at_wall>=? AND at_wall<? ORDER BY zone,at_wall`
}
func (zoneThinner) scan(rows *sql.Rows) (r sampleRow, err error) {
	err = rows.Scan(&r.name, &r.at, &r.synced, &r.values[0], &r.values[1], &r.values[2], &r.values[3], &r.a)
	return r, err
}
func (zoneThinner) clear() string {
	return `DELETE FROM zones WHERE zone IN (SELECT id FROM names) AND at_wall>=? AND at_wall<?`
}
func (zoneThinner) insert() string {
	return `INSERT INTO zones(zone,at_wall,at_synced,water,refill,capacity,sd,state) VALUES(?,?,?,?,?,?,?,?)`
}
func (zoneThinner) args(m mean) []any {
	return []any{m.name, m.at, m.synced, m.value(0), m.value(1), m.value(2), m.value(3), m.a}
}

// fold joins the rows of each name and step into one mean. A bad reading has no
// water and stays out of the mean of those that have: the mean's quality is the
// worst of what went into it.
func fold(rows []sampleRow, step int64, probe bool) []mean {
	var out []mean
	for _, r := range rows {
		at := r.at / step * step
		k := len(out) - 1
		if k < 0 || out[k].name != r.name || out[k].at != at {
			out = append(out, newMean(r, at))
			continue
		}
		m := &out[k]
		switch {
		case !probe:
			m.a = r.a // a zone's state: the latest
		case garden.Quality(m.a) == garden.Bad:
			if m.a, m.b = r.a, r.b; garden.Quality(r.a) != garden.Bad {
				m.sum[0], m.n[0] = 0, 0 // volts of a torn cable
			}
		case garden.Quality(r.a) == garden.Bad:
			r.values[0].Valid = false
		case r.a < m.a:
			m.a, m.b = r.a, r.b
		}
		m.take(r)
	}
	return out
}

func thinTable(ctx context.Context, tx *sql.Tx, t thinner, from, to, step int64) (before, after int, err error) {
	rows, err := tx.QueryContext(ctx, t.read(), from, to)
	if err != nil {
		return 0, 0, err
	}
	defer rows.Close()
	var all []sampleRow
	for rows.Next() {
		r, err := t.scan(rows)
		if err != nil {
			return 0, 0, err
		}
		all = append(all, r)
	}
	if err := rows.Err(); err != nil {
		return 0, 0, err
	}
	_, probe := t.(probeThinner)
	means := fold(all, step, probe)
	if len(means) == len(all) {
		return len(all), len(all), nil // as coarse as that already
	}
	if _, err := tx.ExecContext(ctx, t.clear(), from, to); err != nil {
		return 0, 0, err
	}
	put, err := tx.PrepareContext(ctx, t.insert())
	if err != nil {
		return 0, 0, err
	}
	defer put.Close()
	for _, m := range means {
		if _, err := put.ExecContext(ctx, t.args(m)...); err != nil {
			return 0, 0, err
		}
	}
	return len(all), len(means), nil
}

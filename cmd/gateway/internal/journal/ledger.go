package journal

import (
	"context"
	"database/sql"
	"fmt"
	"math"
	"sync"
	"time"

	"fabricpot/control/garden"
)

// statements are what runs often, prepared once.
type statements struct {
	intend, raise, settle, mark  *sql.Stmt
	sample, samples, zone, zones *sql.Stmt
}

func (s *statements) prepare(j *Journal) (err error) {
	for _, p := range []struct {
		to  **sql.Stmt
		db  *sql.DB
		sql string
	}{
		{&s.intend, j.full, `INSERT INTO intents(id,line,zone,kind,litres,max_on,max_litres,why,why_a,why_b,why_c,clock,at_mono,at_wall,at_synced)
			VALUES(?,?,?,?,?,?,?,?,?,?,?,?,?,?,?)`},
		{&s.raise, j.full, `UPDATE intents SET max_litres=max(max_litres,?) WHERE id=? AND settled=0`},
		{&s.settle, j.easy, `INSERT INTO outcomes(id,line,zone,kind,litres,metered,open_for,ending,clock,
			opened_mono,opened_wall,opened_synced,closed_mono,closed_wall,closed_synced)
			VALUES(?,?,?,?,?,?,?,?,?,?,?,?,?,?,?) ON CONFLICT(id) DO NOTHING`},
		{&s.mark, j.easy, `UPDATE intents SET settled=1 WHERE id=?`},
		{&s.sample, j.easy, rowsOf(addSample, 1)},
		{&s.samples, j.easy, rowsOf(addSample, rowsAtOnce)},
		{&s.zone, j.easy, rowsOf(addZone, 1)},
		{&s.zones, j.easy, rowsOf(addZone, rowsAtOnce)},
	} {
		if *p.to, err = p.db.Prepare(p.sql); err != nil {
			return err
		}
	}
	return nil
}

func (s *statements) close() {
	for _, st := range []*sql.Stmt{s.intend, s.raise, s.settle, s.mark, s.sample, s.samples, s.zone, s.zones} {
		if st != nil {
			_ = st.Close() // its connection is closed next, and that reports
		}
	}
	*s = statements{}
}

// queries are the reading statements, each prepared when it is first asked: to
// parse one takes longer than to answer it from an index.
type queries struct {
	mu sync.Mutex
	of map[string]*sql.Stmt
}

func (s *queries) prepared(db *sql.DB, q string) (*sql.Stmt, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if st, ok := s.of[q]; ok {
		return st, nil
	}
	st, err := db.Prepare(q)
	if err != nil {
		return nil, err
	}
	if s.of == nil {
		s.of = map[string]*sql.Stmt{}
	}
	s.of[q] = st
	return st, nil
}

func (s *queries) close() {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, st := range s.of {
		_ = st.Close() // its connection is closed next, and that reports
	}
	s.of = nil
}

// Intend has the order on stable storage when it returns nil. maxLitres is the
// most that can flow by its deadline. An order already known is an error.
func (j *Journal) Intend(o garden.Order, maxLitres float64, at garden.Moment) error {
	j.writing.Lock()
	defer j.writing.Unlock()
	if j.full == nil {
		return fmt.Errorf("journal: intend order %d: %w", o.ID, errClosed)
	}
	if o.ID > math.MaxInt64 || !garden.Finite(o.Litres) || !garden.Finite(maxLitres) {
		return fmt.Errorf("journal: intend order %d: %v L of at most %v L is no amount", o.ID, o.Litres, maxLitres)
	}
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	// One statement is one transaction, on the card when it returns.
	_, err := j.stmts.intend.ExecContext(ctx, int64(o.ID), string(o.Line), string(o.Zone), int(o.Kind),
		o.Litres, int64(o.MaxOn), maxLitres, int(o.Why.Code), number(o.Why.A), number(o.Why.B), number(o.Why.C),
		j.clockID, int64(at.Mono), at.Wall.UnixMilli(), at.Synced)
	if err != nil {
		return fmt.Errorf("journal: intend order %d on line %s: %w", o.ID, o.Line, err)
	}
	return nil
}

// Raise has on stable storage when it returns nil that an intent without an outcome
// may have given maxLitres. It lowers nothing, and changes nothing for an order that
// has no intent or an outcome.
func (j *Journal) Raise(id garden.OrderID, maxLitres float64) error {
	j.writing.Lock()
	defer j.writing.Unlock()
	if j.full == nil {
		return fmt.Errorf("journal: raise order %d: %w", id, errClosed)
	}
	if id > math.MaxInt64 || !garden.Finite(maxLitres) {
		return fmt.Errorf("journal: raise order %d: %v L is no amount", id, maxLitres)
	}
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	if _, err := j.stmts.raise.ExecContext(ctx, maxLitres, int64(id)); err != nil {
		return fmt.Errorf("journal: raise order %d to %v L: %w", id, maxLitres, err)
	}
	return nil
}

// Settle records what became of an order. An order without an intent is
// recorded too; settling one twice changes nothing.
func (j *Journal) Settle(d garden.Delivery) error {
	if d.Order > math.MaxInt64 || !garden.Finite(d.Litres) {
		return fmt.Errorf("journal: settle order %d: %v L is no amount", d.Order, d.Litres)
	}
	return j.write(fmt.Sprintf("settle order %d", d.Order), func(ctx context.Context, tx *sql.Tx) error {
		_, err := tx.StmtContext(ctx, j.stmts.settle).ExecContext(ctx, int64(d.Order), string(d.Line), string(d.Zone), int(d.Kind),
			d.Litres, d.Metered, int64(d.Open), int(d.End), j.clockID,
			int64(d.OpenedAt.Mono), d.OpenedAt.Wall.UnixMilli(), d.OpenedAt.Synced,
			int64(d.ClosedAt.Mono), d.ClosedAt.Wall.UnixMilli(), d.ClosedAt.Synced)
		if err != nil {
			return err
		}
		_, err = tx.StmtContext(ctx, j.stmts.mark).ExecContext(ctx, int64(d.Order))
		return err
	})
}

// Unfinished returns every intent without an outcome, oldest first.
func (j *Journal) Unfinished() ([]garden.Intent, error) {
	var out []garden.Intent
	err := j.query("unfinished intents", func(rows *sql.Rows) error {
		var u garden.Intent
		var id, clock int64
		var maxOn, mono int64
		var wall int64
		var why int
		var a, b, c sql.NullFloat64
		if err := rows.Scan(&id, &u.Order.Line, &u.Order.Zone, &u.Order.Kind, &u.Order.Litres, &maxOn, &u.MaxLitres,
			&why, &a, &b, &c, &clock, &mono, &wall, &u.At.Synced); err != nil {
			return err
		}
		u.Order.ID, u.Order.MaxOn = garden.OrderID(id), time.Duration(maxOn)
		u.Order.Why = garden.Reason{Code: garden.ReasonCode(why), A: a.Float64, B: b.Float64, C: c.Float64}
		u.At.Mono, u.At.Wall = time.Duration(mono), time.UnixMilli(wall).UTC()
		u.SameClock = clock == j.clockID
		out = append(out, u)
		return nil
	}, `SELECT id,line,zone,kind,litres,max_on,max_litres,why,why_a,why_b,why_c,clock,at_mono,at_wall,at_synced
		FROM intents WHERE settled=0 ORDER BY id`)
	return out, err
}

// Recent returns the deliveries that may lie within the day before now, oldest
// first. Where a wall clock may be wrong it returns too many rather than too
// few: the day is counted back from the last delivery if that is earlier. Where now is
// of no confirmed clock, left out is what is a day ago whatever the wall says, by how long
// boards were up since: one that wakes up in the past would else charge a line with all
// that the journal has.
func (j *Journal) Recent(now garden.Moment) ([]garden.PastDelivery, error) {
	var clocks []int64
	all, err := j.deliveries(`closed_wall >= min(?1, (SELECT max(closed_wall) FROM outcomes)) - 86400000`, now.Wall.UnixMilli(),
		func(clock int64) { clocks = append(clocks, clock) })
	if err != nil || now.Synced {
		return all, err
	}
	// up is how long each clock ran at the least. One boot may settle what another opened,
	// so rows of several are mixed.
	up := map[int64]time.Duration{j.clockID: now.Mono}
	for k := range all {
		up[clocks[k]] = max(up[clocks[k]], all[k].ClosedAt.Mono)
	}
	kept := all[:0]
	for k := range all {
		since := up[clocks[k]] - all[k].ClosedAt.Mono
		for clock, ran := range up {
			if clock > clocks[k] {
				since += ran
			}
		}
		if since <= 24*time.Hour {
			kept = append(kept, all[k])
		}
	}
	return kept, nil
}

// DeliveriesSince returns the deliveries that closed at or after t by the wall
// clock of their time, oldest first.
func (j *Journal) DeliveriesSince(t time.Time) ([]garden.PastDelivery, error) {
	return j.deliveries(`closed_wall >= ?1`, t.UnixMilli(), func(int64) {})
}

// deliveries calls also with the number of each one's clock.
func (j *Journal) deliveries(where string, arg int64, also func(clock int64)) ([]garden.PastDelivery, error) {
	var out []garden.PastDelivery
	err := j.query("deliveries", func(rows *sql.Rows) error {
		var p garden.PastDelivery
		var id, openFor, clock, om, ow, cm, cw int64
		if err := rows.Scan(&id, &p.Line, &p.Zone, &p.Kind, &p.Litres, &p.Metered, &openFor, &p.End, &clock,
			&om, &ow, &p.OpenedAt.Synced, &cm, &cw, &p.ClosedAt.Synced); err != nil {
			return err
		}
		p.Order, p.Open, p.SameClock = garden.OrderID(id), time.Duration(openFor), clock == j.clockID
		p.OpenedAt.Mono, p.OpenedAt.Wall = time.Duration(om), time.UnixMilli(ow).UTC()
		p.ClosedAt.Mono, p.ClosedAt.Wall = time.Duration(cm), time.UnixMilli(cw).UTC()
		out = append(out, p)
		also(clock)
		return nil
	}, `SELECT id,line,zone,kind,litres,metered,open_for,ending,clock,opened_mono,opened_wall,opened_synced,
		closed_mono,closed_wall,closed_synced FROM outcomes WHERE `+where+` ORDER BY id`, arg)
	return out, err
}

// LastOrderID is the highest order number the journal has seen, 0 for none.
func (j *Journal) LastOrderID() (garden.OrderID, error) {
	var last int64
	err := j.query("last order", func(rows *sql.Rows) error { return rows.Scan(&last) },
		`SELECT max(ifnull((SELECT max(id) FROM intents),0), ifnull((SELECT max(id) FROM outcomes),0),
			ifnull((SELECT max("order") FROM decisions),0))`)
	return garden.OrderID(last), err
}

// HasPast tells that a garden's past is kept: an order was given, or a person noted or
// planted something. What a bench writes before it opens its first line is none: it may
// be killed, and start on it again.
func (j *Journal) HasPast() (past bool, err error) {
	last, err := j.LastOrderID()
	if err != nil || last > 0 {
		return err == nil, err
	}
	err = j.query("past", func(rows *sql.Rows) error { return rows.Scan(&past) },
		`SELECT EXISTS(SELECT 1 FROM notes UNION ALL SELECT 1 FROM plants)`)
	return past, err
}

// query runs a query on a reading connection and hands on its rows.
func (j *Journal) query(what string, each func(*sql.Rows) error, q string, args ...any) error {
	if j.read == nil {
		return fmt.Errorf("journal: %s: %w", what, errClosed)
	}
	st, err := j.reading.prepared(j.read, q)
	if err != nil {
		return fmt.Errorf("journal: %s: %w", what, err)
	}
	rows, err := st.Query(args...)
	if err != nil {
		return fmt.Errorf("journal: %s: %w", what, err)
	}
	defer rows.Close()
	for rows.Next() {
		if err := each(rows); err != nil {
			return fmt.Errorf("journal: %s: %w", what, err)
		}
	}
	if err := rows.Err(); err != nil {
		return fmt.Errorf("journal: %s: %w", what, err)
	}
	return nil
}

// number keeps NaN and ±Inf out of the file: they become NULL.
func number(v float64) any {
	if !garden.Finite(v) {
		return nil
	}
	return v
}

func measured(m garden.Measured) any {
	if !m.Known {
		return nil
	}
	return number(m.Value)
}

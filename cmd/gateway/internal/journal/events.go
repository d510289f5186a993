package journal

import (
	"context"
	"database/sql"
	"fmt"
	"time"

	"fabricpot/control/garden"
)

// Decision is something decided, or refused, with its reason in words.
type Decision struct {
	At   garden.Moment
	Zone garden.ZoneID
	Line garden.LineID
	// Order is 0 where no order came of it.
	Order garden.OrderID
	// Cause is set where it was refused.
	Cause garden.RefusalCause
	Text  string
}

// AddDecision records a decision.
func (j *Journal) AddDecision(d Decision) error {
	return j.insert("decision", `INSERT INTO decisions(at_wall,at_synced,zone,line,"order",cause,text) VALUES(?,?,?,?,?,?,?)`,
		d.At.Wall.UnixMilli(), d.At.Synced, string(d.Zone), string(d.Line), int64(d.Order), int(d.Cause), d.Text)
}

// Decisions returns the latest decisions between two times, newest first.
func (j *Journal) Decisions(from, to time.Time, most int) ([]Decision, error) {
	return j.decisions(`at_wall BETWEEN ?1 AND ?2 ORDER BY id DESC LIMIT ?3`, from.UnixMilli(), to.UnixMilli(), most)
}

func (j *Journal) decisions(where string, args ...any) ([]Decision, error) {
	var out []Decision
	err := j.query("decisions", func(rows *sql.Rows) error {
		var d Decision
		var at, order int64
		if err := rows.Scan(&at, &d.At.Synced, &d.Zone, &d.Line, &order, &d.Cause, &d.Text); err != nil {
			return err
		}
		d.At.Wall, d.Order = time.UnixMilli(at).UTC(), garden.OrderID(order)
		out = append(out, d)
		return nil
	}, `SELECT at_wall,at_synced,zone,line,"order",cause,text FROM decisions WHERE `+where, args...)
	return out, err
}

// AddAsk records what a person or hub asked for and what it was answered.
func (j *Journal) AddAsk(at garden.Moment, a garden.Ask, answer string) error {
	if !garden.Finite(a.Litres) {
		return fmt.Errorf("journal: ask: %v L is no amount", a.Litres)
	}
	var until any
	if !a.Until.Wall.IsZero() {
		until = a.Until.Wall.UnixMilli()
	}
	return j.insert("ask", `INSERT INTO asks(at_wall,at_synced,kind,zone,litres,until_wall,who,answer) VALUES(?,?,?,?,?,?,?,?)`,
		at.Wall.UnixMilli(), at.Synced, int(a.Kind), string(a.Zone), a.Litres, until, a.Who, answer)
}

// Feed is nutrients given to a zone.
type Feed struct {
	At     garden.Moment
	Zone   garden.ZoneID
	Recipe string
	Litres float64
	// NG, PG and KG are grams of the elements, absent where unknown.
	NG, PG, KG garden.Measured
	// Order is the delivery that carried it, 0 where a person did.
	Order  garden.OrderID
	ByHand bool
	Who    string
}

// AddFeed records a feed.
func (j *Journal) AddFeed(f Feed) error {
	if !garden.Finite(f.Litres) {
		return fmt.Errorf("journal: feed: %v L is no amount", f.Litres)
	}
	return j.insert("feed", `INSERT INTO feeds(at_wall,at_synced,zone,recipe,litres,n_g,p_g,k_g,"order",by_hand,who) VALUES(?,?,?,?,?,?,?,?,?,?,?)`,
		f.At.Wall.UnixMilli(), f.At.Synced, string(f.Zone), f.Recipe, f.Litres, measured(f.NG), measured(f.PG), measured(f.KG),
		int64(f.Order), f.ByHand, f.Who)
}

// Feeds returns a zone's feeds since a time, oldest first; of all zones where
// zone is empty.
func (j *Journal) Feeds(zone garden.ZoneID, since time.Time) ([]Feed, error) {
	var out []Feed
	err := j.query("feeds", func(rows *sql.Rows) error {
		var f Feed
		var at, order int64
		var n, p, k sql.NullFloat64
		if err := rows.Scan(&at, &f.At.Synced, &f.Zone, &f.Recipe, &f.Litres, &n, &p, &k, &order, &f.ByHand, &f.Who); err != nil {
			return err
		}
		f.At.Wall, f.Order = time.UnixMilli(at).UTC(), garden.OrderID(order)
		f.NG, f.PG, f.KG = known(n), known(p), known(k)
		out = append(out, f)
		return nil
	}, `SELECT at_wall,at_synced,zone,recipe,litres,n_g,p_g,k_g,"order",by_hand,who FROM feeds
		WHERE (?1='' OR zone=?1) AND at_wall>=?2 ORDER BY at_wall,id`, string(zone), since.UnixMilli())
	return out, err
}

// Note is something a person observed or measured.
type Note struct {
	At   garden.Moment
	Zone garden.ZoneID
	// Kind says what Value is, such as "pour-through EC, mS/cm".
	Kind  string
	Value garden.Measured
	Text  string
	Who   string
}

// AddNote records an observation.
func (j *Journal) AddNote(n Note) error {
	return j.insert("note", `INSERT INTO notes(at_wall,at_synced,zone,kind,value,text,who) VALUES(?,?,?,?,?,?,?)`,
		n.At.Wall.UnixMilli(), n.At.Synced, string(n.Zone), n.Kind, measured(n.Value), n.Text, n.Who)
}

// Notes returns the observations since a time, oldest first.
func (j *Journal) Notes(since time.Time) ([]Note, error) {
	return j.notes(`at_wall>=?1 ORDER BY at_wall,id`, since.UnixMilli())
}

func (j *Journal) notes(where string, args ...any) ([]Note, error) {
	var out []Note
	err := j.query("notes", func(rows *sql.Rows) error {
		var n Note
		var at int64
		var v sql.NullFloat64
		if err := rows.Scan(&at, &n.At.Synced, &n.Zone, &n.Kind, &v, &n.Text, &n.Who); err != nil {
			return err
		}
		n.At.Wall, n.Value = time.UnixMilli(at).UTC(), known(v)
		out = append(out, n)
		return nil
	}, `SELECT at_wall,at_synced,zone,kind,value,text,who FROM notes WHERE `+where, args...)
	return out, err
}

// AlarmEvent is one step in an alarm's life.
type AlarmEvent struct {
	At garden.Moment
	// Kind and Subject name the cause, Event what happened to it.
	Kind, Subject, Event string
	Text                 string
	Who                  string
}

// AddAlarm records a step in an alarm's life.
func (j *Journal) AddAlarm(e AlarmEvent) error {
	return j.insert("alarm", `INSERT INTO alarms(at_wall,at_synced,kind,subject,event,text,who) VALUES(?,?,?,?,?,?,?)`,
		e.At.Wall.UnixMilli(), e.At.Synced, e.Kind, e.Subject, e.Event, e.Text, e.Who)
}

// Alarms returns the latest steps since a time, newest first.
func (j *Journal) Alarms(since time.Time, most int) ([]AlarmEvent, error) {
	var out []AlarmEvent
	err := j.query("alarms", func(rows *sql.Rows) error {
		var e AlarmEvent
		var at int64
		if err := rows.Scan(&at, &e.At.Synced, &e.Kind, &e.Subject, &e.Event, &e.Text, &e.Who); err != nil {
			return err
		}
		e.At.Wall = time.UnixMilli(at).UTC()
		out = append(out, e)
		return nil
	}, `SELECT at_wall,at_synced,kind,subject,event,text,who FROM alarms WHERE at_wall>=? ORDER BY id DESC LIMIT ?`, since.UnixMilli(), most)
	return out, err
}

func (j *Journal) insert(what, q string, args ...any) error {
	return j.write(what, func(ctx context.Context, tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, q, args...)
		return err
	})
}

func known(n sql.NullFloat64) garden.Measured {
	if !n.Valid {
		return garden.Measured{}
	}
	return garden.Known(n.Float64)
}

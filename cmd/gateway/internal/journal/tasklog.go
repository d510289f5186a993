package journal

import (
	"context"
	"database/sql"
	"encoding/json"
	"time"

	"fabricpot/control/feeding"
	"fabricpot/control/task"
)

// AddTaskEvents keeps lines of the gardener's book.
func (j *Journal) AddTaskEvents(events []task.Event) error {
	if len(events) == 0 {
		return nil
	}
	return j.write("task events", func(ctx context.Context, tx *sql.Tx) error {
		for _, e := range events {
			body, err := json.Marshal(e)
			if err != nil {
				return err
			}
			_, err = tx.ExecContext(ctx, `INSERT INTO task_events(at_wall,task,event,litres,body) VALUES(?,?,?,?,?)`,
				e.At.UnixMilli(), e.Task.ID, string(e.Kind), measured(e.Litres), string(body))
			if err != nil {
				return err
			}
		}
		return nil
	})
}

// TaskEvents returns the book since a time, oldest first, and whatever is older
// but was never closed: no task is dropped silently.
func (j *Journal) TaskEvents(since time.Time, zone *time.Location) ([]task.Event, error) {
	var out []task.Event
	err := j.query("task events", func(rows *sql.Rows) error {
		var e task.Event
		var litres sql.NullFloat64
		var body string
		if err := rows.Scan(&litres, &body); err != nil {
			return err
		}
		if err := json.Unmarshal([]byte(body), &e); err != nil {
			return err
		}
		e.Litres = known(litres)
		e.At = e.At.In(zone)
		for _, t := range []*time.Time{&e.Task.Opened, &e.Task.Due, &e.Task.Until} {
			*t = t.In(zone)
		}
		out = append(out, e)
		return nil
	}, `SELECT litres,body FROM task_events WHERE at_wall>=?1 OR task NOT IN
		(SELECT task FROM task_events WHERE event IN ('done','dropped','overtaken')) ORDER BY id`, since.UnixMilli())
	return out, err
}

// DrainageKind is the kind of a note that holds the conductivity of what
// drained from a pot, mS/cm.
const DrainageKind = "pour-through-ec"

// EyesKind begins the kind of a note that keeps a piece of what somebody saw as data:
// after it comes the question of the round, or "sign", and the note holds the word or
// the number. For people the same stands in one note beside it.
const EyesKind = "eyes "

// bookMemory is how far back closed tasks are remembered, so that one that is
// reported twice is asked about.
const bookMemory = 400 * 24 * time.Hour

// Fed is what feeding needs of the past.
func (j *Journal) Fed(now time.Time) (feeding.Past, error) {
	var p feeding.Past
	var err error
	zone := now.Location()
	if p.Records, err = j.FeedSteps(zone); err != nil {
		return p, err
	}
	if p.Snapshots, err = j.FeedLedgers(zone); err != nil {
		return p, err
	}
	if p.Events, err = j.TaskEvents(now.Add(-bookMemory), zone); err != nil {
		return p, err
	}
	notes, err := j.Notes(now.Add(-60 * 24 * time.Hour))
	for _, n := range notes {
		if n.Kind == DrainageKind && n.Value.Known {
			p.Drained = append(p.Drained, feeding.Drainage{Zone: n.Zone, At: n.At.Wall.In(zone), MS: n.Value.Value})
		}
	}
	return p, err
}

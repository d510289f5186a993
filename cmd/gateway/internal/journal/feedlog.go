package journal

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"time"

	"fabricpot/control/feed"
	"fabricpot/control/feeding"
	"fabricpot/control/garden"
)

// schema2 holds what keeps a feed from being repeated, the ledgers, and the
// gardener's tasks. Times are UTC milliseconds.
const schema2 = `
CREATE TABLE feed_steps(
	id INTEGER PRIMARY KEY, kind INTEGER NOT NULL, zone TEXT NOT NULL, feed INTEGER NOT NULL, at_wall INTEGER NOT NULL,
	pulse INTEGER NOT NULL, litres REAL NOT NULL, closing_l REAL NOT NULL, room_l REAL NOT NULL,
	n_ppm REAL NOT NULL, p_ppm REAL NOT NULL, k_ppm REAL NOT NULL,
	stage INTEGER NOT NULL, why INTEGER NOT NULL, uncertain INTEGER NOT NULL);
CREATE INDEX feed_steps_zone ON feed_steps(zone, id);
CREATE TABLE feed_ledgers(zone TEXT PRIMARY KEY, at_wall INTEGER NOT NULL, body TEXT NOT NULL) WITHOUT ROWID;
CREATE TABLE task_events(
	id INTEGER PRIMARY KEY, at_wall INTEGER NOT NULL, task TEXT NOT NULL, event TEXT NOT NULL, litres REAL, body TEXT NOT NULL);
CREATE INDEX task_events_at ON task_events(at_wall);
`

// AddFeedSteps has the records on stable storage when it returns nil, all or
// none of them: a feed may be ordered after that and not before.
func (j *Journal) AddFeedSteps(records []feed.Record) error {
	if len(records) == 0 {
		return nil
	}
	for _, r := range records {
		if !garden.Finite(r.Litres) || !garden.Finite(r.ClosingL) || !garden.Finite(r.RoomL) || !r.PPM.Valid() {
			return fmt.Errorf("journal: feed step %s of %s: %v L at %v mg/L is no amount", r.Kind, r.Zone, r.Litres, r.PPM)
		}
	}
	j.writing.Lock()
	defer j.writing.Unlock()
	err := inTx(j.full, func(ctx context.Context, tx *sql.Tx) error {
		for _, r := range records {
			_, err := tx.ExecContext(ctx, `INSERT INTO feed_steps(kind,zone,feed,at_wall,pulse,litres,closing_l,room_l,n_ppm,p_ppm,k_ppm,stage,why,uncertain)
				VALUES(?,?,?,?,?,?,?,?,?,?,?,?,?,?)`,
				int(r.Kind), string(r.Zone), int64(r.Feed), r.At.UnixMilli(), r.Pulse, r.Litres, r.ClosingL, r.RoomL,
				r.PPM.N, r.PPM.P, r.PPM.K, int(r.Stage), int(r.Why), r.Uncertain)
			if err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("journal: feed steps: %w", err)
	}
	return nil
}

// FeedSteps returns every record in the order they were written, in the given
// time zone.
func (j *Journal) FeedSteps(zone *time.Location) ([]feed.Record, error) {
	var out []feed.Record
	err := j.query("feed steps", func(rows *sql.Rows) error {
		var r feed.Record
		var at, id int64
		if err := rows.Scan(&r.Kind, &r.Zone, &id, &at, &r.Pulse, &r.Litres, &r.ClosingL, &r.RoomL,
			&r.PPM.N, &r.PPM.P, &r.PPM.K, &r.Stage, &r.Why, &r.Uncertain); err != nil {
			return err
		}
		r.Feed, r.At = garden.FeedID(id), time.UnixMilli(at).In(zone)
		out = append(out, r)
		return nil
	}, `SELECT kind,zone,feed,at_wall,pulse,litres,closing_l,room_l,n_ppm,p_ppm,k_ppm,stage,why,uncertain FROM feed_steps ORDER BY id`)
	return out, err
}

// KeepLedgers keeps the latest ledger of each zone.
func (j *Journal) KeepLedgers(snaps []feeding.Snapshot) error {
	if len(snaps) == 0 {
		return nil
	}
	return j.write("feed ledgers", func(ctx context.Context, tx *sql.Tx) error {
		for _, s := range snaps {
			body, err := json.Marshal(s)
			if err != nil {
				return err
			}
			_, err = tx.ExecContext(ctx, `INSERT INTO feed_ledgers(zone,at_wall,body) VALUES(?,?,?)
				ON CONFLICT(zone) DO UPDATE SET at_wall=excluded.at_wall, body=excluded.body`, string(s.Zone), s.At.UnixMilli(), string(body))
			if err != nil {
				return err
			}
		}
		return nil
	})
}

// FeedLedgers returns the latest ledger of each zone.
func (j *Journal) FeedLedgers(zone *time.Location) ([]feeding.Snapshot, error) {
	var out []feeding.Snapshot
	err := j.query("feed ledgers", func(rows *sql.Rows) error {
		var s feeding.Snapshot
		var body string
		if err := rows.Scan(&body); err != nil {
			return err
		}
		if err := json.Unmarshal([]byte(body), &s); err != nil {
			return err
		}
		s.At, s.Began = s.At.In(zone), s.Began.In(zone)
		out = append(out, s)
		return nil
	}, `SELECT body FROM feed_ledgers ORDER BY zone`)
	return out, err
}

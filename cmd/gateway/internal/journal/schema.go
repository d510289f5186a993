package journal

import (
	"context"
	"database/sql"
	"fmt"
)

// applicationID marks the file as a journal of this program: "FPot" in ASCII.
const applicationID = 0x46506f74

// migrations lead from each schema version to the next; the file's version is
// how many have been applied, in PRAGMA user_version. One that was released is
// never changed: a change is a new one at the end.
func migrations() []string {
	return []string{schema1, schema2, schema3, schemaPlants, schemaSpans, schemaRecent}
}

// Moments are three columns: _mono in ns, _wall in UTC ms, _synced 0 or 1, and
// one clock per row that says which clock _mono counts on.
const schema1 = `
CREATE TABLE meta(key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
CREATE TABLE clocks(id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE);
CREATE TABLE names(id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE);

CREATE TABLE samples(
	probe INTEGER NOT NULL, at_wall INTEGER NOT NULL, at_synced INTEGER NOT NULL,
	volts REAL, water REAL, temp_c REAL, quality INTEGER NOT NULL, fault INTEGER NOT NULL,
	PRIMARY KEY(probe, at_wall)) WITHOUT ROWID;
CREATE TABLE zones(
	zone INTEGER NOT NULL, at_wall INTEGER NOT NULL, at_synced INTEGER NOT NULL,
	water REAL, refill REAL, capacity REAL, state INTEGER NOT NULL,
	PRIMARY KEY(zone, at_wall)) WITHOUT ROWID;

CREATE TABLE intents(
	id INTEGER PRIMARY KEY, line TEXT NOT NULL, zone TEXT NOT NULL, kind INTEGER NOT NULL,
	litres REAL NOT NULL, max_on INTEGER NOT NULL, max_litres REAL NOT NULL,
	why INTEGER NOT NULL, why_a REAL, why_b REAL, why_c REAL,
	clock INTEGER NOT NULL, at_mono INTEGER NOT NULL, at_wall INTEGER NOT NULL, at_synced INTEGER NOT NULL,
	settled INTEGER NOT NULL DEFAULT 0);
CREATE INDEX intents_unsettled ON intents(id) WHERE settled=0;
CREATE TABLE outcomes(
	id INTEGER PRIMARY KEY, line TEXT NOT NULL, zone TEXT NOT NULL, kind INTEGER NOT NULL,
	litres REAL NOT NULL, metered INTEGER NOT NULL, open_for INTEGER NOT NULL, ending INTEGER NOT NULL,
	clock INTEGER NOT NULL,
	opened_mono INTEGER NOT NULL, opened_wall INTEGER NOT NULL, opened_synced INTEGER NOT NULL,
	closed_mono INTEGER NOT NULL, closed_wall INTEGER NOT NULL, closed_synced INTEGER NOT NULL);
CREATE INDEX outcomes_closed ON outcomes(closed_wall);

CREATE TABLE decisions(
	id INTEGER PRIMARY KEY, at_wall INTEGER NOT NULL, at_synced INTEGER NOT NULL,
	zone TEXT NOT NULL, line TEXT NOT NULL, "order" INTEGER NOT NULL, cause INTEGER NOT NULL, text TEXT NOT NULL);
CREATE INDEX decisions_at ON decisions(at_wall);
CREATE TABLE asks(
	id INTEGER PRIMARY KEY, at_wall INTEGER NOT NULL, at_synced INTEGER NOT NULL,
	kind INTEGER NOT NULL, zone TEXT NOT NULL, litres REAL NOT NULL, until_wall INTEGER, who TEXT NOT NULL, answer TEXT NOT NULL);
CREATE INDEX asks_at ON asks(at_wall);
CREATE TABLE feeds(
	id INTEGER PRIMARY KEY, at_wall INTEGER NOT NULL, at_synced INTEGER NOT NULL,
	zone TEXT NOT NULL, recipe TEXT NOT NULL, litres REAL NOT NULL, n_g REAL, p_g REAL, k_g REAL,
	"order" INTEGER NOT NULL, by_hand INTEGER NOT NULL, who TEXT NOT NULL);
CREATE INDEX feeds_at ON feeds(zone, at_wall);
CREATE TABLE notes(
	id INTEGER PRIMARY KEY, at_wall INTEGER NOT NULL, at_synced INTEGER NOT NULL,
	zone TEXT NOT NULL, kind TEXT NOT NULL, value REAL, text TEXT NOT NULL, who TEXT NOT NULL);
CREATE INDEX notes_at ON notes(at_wall);
CREATE TABLE alarms(
	id INTEGER PRIMARY KEY, at_wall INTEGER NOT NULL, at_synced INTEGER NOT NULL,
	kind TEXT NOT NULL, subject TEXT NOT NULL, event TEXT NOT NULL, text TEXT NOT NULL, who TEXT NOT NULL);
CREATE INDEX alarms_at ON alarms(at_wall);
`

// migrate brings the file to this program's schema. Each step and its version
// are one transaction, so that a power cut leaves a whole version behind; a new
// file takes all steps in one, since a start waits for the card at each.
func (j *Journal) migrate() error {
	var have int
	if err := j.easy.QueryRow("PRAGMA user_version").Scan(&have); err != nil {
		return err
	}
	steps := migrations()
	if have > len(steps) {
		return fmt.Errorf("its schema is version %d and this program knows up to %d: install the newer program or name another file", have, len(steps))
	}
	for from, to := have, 0; from < len(steps); from = to {
		if to = from + 1; from == 0 {
			to = len(steps)
		}
		err := inTx(j.full, func(ctx context.Context, tx *sql.Tx) error {
			for _, step := range steps[from:to] {
				if _, err := tx.ExecContext(ctx, step); err != nil {
					return err
				}
			}
			if from == 0 && j.instead != "" {
				// With the first page, or a start that is cut short leaves a file that
				// looks like the first of all.
				if err := j.setMeta(ctx, tx, brokenKey, j.instead+"; nothing of it was taken over yet"); err != nil {
					return err
				}
			}
			_, err := tx.ExecContext(ctx, fmt.Sprintf("PRAGMA application_id=%d; PRAGMA user_version=%d", applicationID, to))
			return err
		})
		if err != nil {
			return fmt.Errorf("migrate to schema %d: %w", to, err)
		}
		j.begun = from == 0 && j.instead != ""
	}
	return nil
}

// SchemaVersion is the version of the open file.
func (j *Journal) SchemaVersion() (int, error) {
	if j.read == nil {
		return 0, errClosed
	}
	var v int
	err := j.read.QueryRow("PRAGMA user_version").Scan(&v)
	return v, err
}

func (j *Journal) setMeta(ctx context.Context, tx *sql.Tx, key, value string) error {
	_, err := tx.ExecContext(ctx, "INSERT INTO meta(key,value) VALUES(?,?) ON CONFLICT(key) DO UPDATE SET value=excluded.value", key, value)
	return err
}

// SetMeta keeps a small named value across restarts.
func (j *Journal) SetMeta(key, value string) error {
	return j.write("keep "+key, func(ctx context.Context, tx *sql.Tx) error {
		return j.setMeta(ctx, tx, key, value)
	})
}

// Meta returns a value kept by SetMeta, and whether there is one.
func (j *Journal) Meta(key string) (string, bool, error) {
	if j.read == nil {
		return "", false, errClosed
	}
	var v string
	err := j.read.QueryRow("SELECT value FROM meta WHERE key=?", key).Scan(&v)
	if err == sql.ErrNoRows {
		return "", false, nil
	}
	return v, err == nil, err
}

// loadNames reads the dictionary that keeps probe and zone names out of the
// sample rows.
func (j *Journal) loadNames() error {
	j.names = map[string]int64{}
	rows, err := j.easy.Query("SELECT id,name FROM names")
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var id int64
		var name string
		if err := rows.Scan(&id, &name); err != nil {
			return err
		}
		j.names[name] = id
	}
	return rows.Err()
}

// name is the number of a name. The caller is the writer; fresh collects what
// must be forgotten again if its transaction fails.
func (j *Journal) name(ctx context.Context, tx *sql.Tx, s string, fresh *[]string) (int64, error) {
	if id, ok := j.names[s]; ok {
		return id, nil
	}
	r, err := tx.ExecContext(ctx, "INSERT INTO names(name) VALUES(?)", s)
	if err != nil {
		return 0, err
	}
	id, err := r.LastInsertId()
	if err != nil {
		return 0, err
	}
	j.names[s] = id
	*fresh = append(*fresh, s)
	return id, nil
}

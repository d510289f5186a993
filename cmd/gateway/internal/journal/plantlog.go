package journal

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"time"

	"fabricpot/control/garden"
)

// schemaPlants adds what was done to the plants.
const schemaPlants = `
CREATE TABLE plants(
	id INTEGER PRIMARY KEY, at_wall INTEGER NOT NULL, at_synced INTEGER NOT NULL,
	zone TEXT NOT NULL, event TEXT NOT NULL, body TEXT NOT NULL, who TEXT NOT NULL);
CREATE INDEX plants_at ON plants(at_wall);
`

// AddPlantEvent keeps what a person did to a zone's plants. An event without a
// day of its own gets the moment's.
func (j *Journal) AddPlantEvent(at garden.Moment, e garden.PlantEvent, who string) error {
	if err := e.Check(); err != nil {
		return fmt.Errorf("journal: %w", err)
	}
	if e.On.IsZero() {
		e.On = at.Wall
	}
	return j.write("plant event", func(ctx context.Context, tx *sql.Tx) error {
		body, err := json.Marshal(e)
		if err != nil {
			return err
		}
		_, err = tx.ExecContext(ctx, `INSERT INTO plants(at_wall,at_synced,zone,event,body,who) VALUES(?,?,?,?,?,?)`,
			e.On.UnixMilli(), at.Synced, string(e.Zone), e.Kind.String(), string(body), who)
		return err
	})
}

// PlantEvents returns what was done to the plants since a time, oldest first,
// with days in zone.
func (j *Journal) PlantEvents(since time.Time, zone *time.Location) ([]garden.PlantEvent, error) {
	var out []garden.PlantEvent
	err := j.query("plant events", func(rows *sql.Rows) error {
		var e garden.PlantEvent
		var body string
		if err := rows.Scan(&body); err != nil {
			return err
		}
		if err := json.Unmarshal([]byte(body), &e); err != nil {
			return err
		}
		e.On = e.On.In(zone)
		out = append(out, e)
		return nil
	}, `SELECT body FROM plants WHERE at_wall>=? ORDER BY at_wall,id`, since.UnixMilli())
	return out, err
}

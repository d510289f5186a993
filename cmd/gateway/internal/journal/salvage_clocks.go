package journal

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
)

// clockMap turns the numbers of the broken file's clocks into this one's.
type clockMap struct {
	j     *Journal
	from  string
	names map[int64]string
	of    map[int64]int64
}

// read reads the clocks' names as far as it goes.
func (c *clockMap) read(old *Journal) {
	rows, err := old.read.Query("SELECT id,name FROM clocks NOT INDEXED ORDER BY id DESC")
	if err != nil {
		return
	}
	defer rows.Close()
	for rows.Next() {
		var id int64
		var name string
		if rows.Scan(&id, &name) == nil && name != "" {
			c.names[id] = name
		}
	}
	_ = rows.Err() // a clock whose name is lost is nobody's, see id
}

// id is the number that clock has here. One that has lost its name is no run's.
func (c *clockMap) id(ctx context.Context, tx *sql.Tx, old int64) (int64, error) {
	if id, ok := c.of[old]; ok {
		return id, nil
	}
	name, ok := c.names[old]
	if !ok {
		name = fmt.Sprintf("lost %d of %s", old, c.from)
	}
	if _, err := tx.ExecContext(ctx, "INSERT INTO clocks(name) VALUES(?) ON CONFLICT DO NOTHING", name); err != nil {
		return 0, err
	}
	var id int64
	if err := tx.QueryRowContext(ctx, "SELECT id FROM clocks WHERE name=?", name).Scan(&id); err != nil {
		return 0, err
	}
	c.of[old] = id
	return id, nil
}

// meta is a small value as it is kept here; keep is false for one that can't be read or
// is about the broken file itself.
func (c *clockMap) meta(ctx context.Context, tx *sql.Tx, key, value string) (_ string, keep bool, err error) {
	var out any
	switch key {
	case limitsKey:
		var h heldLimits
		if json.Unmarshal([]byte(value), &h) != nil {
			return "", false, nil
		}
		h.Clock, err = c.id(ctx, tx, h.Clock)
		out = h
	case startsKey:
		var all []beginning
		if json.Unmarshal([]byte(value), &all) != nil {
			return "", false, nil
		}
		for i := range all {
			if err == nil {
				all[i].Clock, err = c.id(ctx, tx, all[i].Clock)
			}
		}
		out = all
	case spentKey:
		var past spent
		if json.Unmarshal([]byte(value), &past) != nil {
			return "", false, nil // empty where it was given back
		}
		past.At.Clock, err = c.id(ctx, tx, past.At.Clock)
		out = past
	case "learned", "alarms", "messages":
		return value, json.Valid([]byte(value)), nil
	default:
		return "", false, nil
	}
	if err != nil {
		return "", false, err
	}
	b, err := json.Marshal(out)
	return string(b), err == nil, err
}

package journal

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"maps"
	"path/filepath"
	"slices"
	"strings"
	"time"
)

// A journal that is begun in place of a broken one takes over what a start reads of it,
// row by row as far as the broken file can still be read. It is opened read-only and
// changes in nothing. What was damaged may look whole, so each row must be of a kind
// that a start can read, and what is missing is never taken for nothing: whoever
// starts on it goes by Broken.

// part is a table of which a start needs rows.
type part struct {
	table string
	// cols are its columns with their types: i a whole number, n one or none, k a small
	// one, b yes or no, c that of a clock, l an amount, r a number or none, t a text, j
	// one that is JSON.
	cols string
	// by orders the rows.
	by string
	// holds is what a person is told that is lost with it.
	holds string
	// since is the schema that first had it.
	since int
}

// rescued are the parts in the order that they are taken over.
func rescued() []part {
	return []part{
		{"intents", "id:i line:t zone:t kind:k litres:l max_on:i max_litres:l why:k why_a:r why_b:r why_c:r clock:c at_mono:i at_wall:i at_synced:b settled:b", "id", whatGiven, 1},
		{"outcomes", "id:i line:t zone:t kind:k litres:l metered:b open_for:i ending:k clock:c opened_mono:i opened_wall:i opened_synced:b closed_mono:i closed_wall:i closed_synced:b", "id", whatGiven, 1},
		{"asks", "id:i at_wall:i at_synced:b kind:k zone:t litres:l until_wall:n who:t answer:t", "id", whatAsked, 1},
		{"meta", "key:t value:t", "key", "what was learnt and which alarms stood", 1},
		{"feed_steps", "id:i kind:k zone:t feed:i at_wall:i pulse:i litres:l closing_l:l room_l:l n_ppm:l p_ppm:l k_ppm:l stage:k why:k uncertain:b", "id", whatFed, 2},
		{"feed_ledgers", "zone:t at_wall:i body:j", "zone", whatFed, 2},
		{"task_events", "id:i at_wall:i task:t event:t litres:r body:j", "id", "the gardener's list", 2},
		{"plants", "id:i at_wall:i at_synced:b zone:t event:t body:j who:t", "id", "what was done to the plants", 4},
	}
}

const (
	whatGiven = "what was given last"
	whatAsked = "what was asked to stay shut or off"
	whatFed   = "what was fed"
	// rescueMost bounds the rows of a part, the newest first: a start reads a day of
	// deliveries, and some months of feeds.
	rescueMost = 20000
	// rescueChunk is how many of them are written at once, within patience.
	rescueChunk = 500
	// rescueFor bounds what is begun of a part: with patience for its last chunk, all
	// parts together take less than a start may (TimeoutStartSec in systemd/).
	rescueFor = 20 * time.Second
	// mostNumber is more than any order or amount of a garden comes to: a number over
	// it is damage, and the next one after it would be none.
	mostNumber = 1e12
)

// salvage takes over what it can of the broken file and returns what to add to the
// sentence that tells of it.
func (j *Journal) salvage(from string) string {
	var lost []string
	miss := func(what string) {
		if !slices.Contains(lost, what) {
			lost = append(lost, what)
		}
	}
	old, why := reader(from)
	if old == nil {
		return "; nothing of it can be read any more (" + why + ")"
	}
	defer func() { _ = old.shut() }() // nothing was written
	clocks := clockMap{j: j, names: map[int64]string{}, of: map[int64]int64{}, from: filepath.Base(from)}
	clocks.read(old)
	parts := rescued()
	for i := range parts {
		p := &parts[i]
		if old.version < p.since {
			continue
		}
		rows, whole := p.rows(old)
		ctx, done := context.WithTimeout(context.Background(), rescueFor)
		whole = j.takeOver(ctx, p, rows, &clocks) == nil && whole
		done()
		if err := j.readable(p.table); err != nil {
			whole = false
			miss(j.drop(p))
		}
		if !whole {
			miss(p.holds)
		}
	}
	if slices.Contains(lost, whatFed) {
		// Ledgers whose feeds are lost would have one given again.
		for i := range parts {
			if parts[i].holds == whatFed {
				miss(j.drop(&parts[i]))
			}
		}
	}
	if len(lost) == 0 {
		return "; what a start needs of it could be read"
	}
	return "; it could not be read whole of " + strings.Join(lost, ", ")
}

// drop takes back what was taken over of a part, and returns what is lost with it.
func (j *Journal) drop(p *part) string {
	err := j.write("drop what can't be read", func(ctx context.Context, tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, "DELETE FROM "+p.table)
		return err
	})
	if err != nil {
		return p.holds + " (" + err.Error() + ")"
	}
	return p.holds
}

// reader opens a broken file for reading; nil, and why, where SQLite can't.
func reader(path string) (*Journal, string) {
	j := &Journal{path: path, now: time.Now}
	why, err := j.openReader("reading")
	switch {
	case err != nil:
		why = err.Error()
	case why == "" && j.version < 1:
		why = "its schema can't be made out"
	}
	if why != "" {
		_ = j.shut() // why says more
		return nil, why
	}
	return j, ""
}

// rows reads the part from its newest row on and, where that ends in damage, from its
// oldest. whole tells that every row of the newest was read and is sound.
func (p *part) rows(old *Journal) (out [][]any, whole bool) {
	seen := map[any]bool{}
	whole = true
	read := func(order string) bool {
		// Indexes may be damaged where the table is not.
		rows, err := old.read.Query("SELECT " + strings.Join(p.names(), ",") + " FROM " + p.table + " NOT INDEXED ORDER BY " + p.by + order + fmt.Sprintf(" LIMIT %d", rescueMost))
		if err != nil {
			return false
		}
		defer rows.Close()
		for rows.Next() {
			row := make([]any, len(p.names()))
			into := make([]any, len(row))
			for i := range row {
				into[i] = &row[i]
			}
			if rows.Scan(into...) != nil {
				return false
			}
			if !p.sound(row) {
				whole = false
			} else if key := row[0]; !seen[key] {
				seen[key] = true
				out = append(out, row)
			}
		}
		return rows.Err() == nil
	}
	if !read(" DESC") {
		whole = false
		read("")
	}
	return out, whole
}

func (p *part) names() (names []string) {
	for col := range strings.FieldsSeq(p.cols) {
		name, _, _ := strings.Cut(col, ":")
		names = append(names, name)
	}
	return names
}

// kind is the type of a column by its place.
func (p *part) kind(i int) byte { return strings.Fields(p.cols)[i][len(p.names()[i])+1] }

// sound tells that every value of a row is of its column's type.
func (p *part) sound(row []any) bool {
	for i := range row {
		whole, isWhole := row[i].(int64)
		text, isText := row[i].(string)
		ok := false
		switch kind := p.kind(i); kind {
		case 'i', 'c':
			ok = isWhole && (p.names()[i] != "id" && p.names()[i] != "feed" || whole > 0 && whole < mostNumber)
		case 'n':
			ok = isWhole || row[i] == nil
		case 'k':
			ok = isWhole && whole >= 0 && whole <= 255
		case 'b':
			ok = isWhole && (whole == 0 || whole == 1)
		case 'l', 'r':
			number, isReal := row[i].(float64)
			if isWhole {
				number, isReal = float64(whole), true
			}
			ok = row[i] == nil && kind == 'r' || isReal && number > -mostNumber && number < mostNumber && (kind == 'r' || number >= 0)
		case 't':
			ok = isText
		case 'j':
			ok = isText && json.Valid([]byte(text))
		}
		if !ok {
			return false
		}
	}
	return true
}

// takeOver writes the rows in chunks, the newest first, so that what a slow board manages
// is kept. It ends with the first chunk that fails, of which nothing is written, or where
// ctx is done before the next.
func (j *Journal) takeOver(ctx context.Context, p *part, rows [][]any, clocks *clockMap) error {
	for chunk := range slices.Chunk(rows, rescueChunk) {
		if err := ctx.Err(); err != nil {
			return fmt.Errorf("journal: no time for the rest of %s: %w", p.table, err)
		}
		before := maps.Clone(clocks.of)
		err := j.write("take over "+p.table, func(ctx context.Context, tx *sql.Tx) error {
			return p.insert(ctx, tx, chunk, clocks)
		})
		if err != nil {
			// The clocks' rows went with the others: the next boot would get their numbers.
			clocks.of = before
			return err
		}
	}
	return nil
}

// insert writes rows of the broken file.
func (p *part) insert(ctx context.Context, tx *sql.Tx, rows [][]any, clocks *clockMap) error {
	into, err := tx.PrepareContext(ctx, "INSERT OR IGNORE INTO "+p.table+"("+strings.Join(p.names(), ",")+") VALUES(?"+strings.Repeat(",?", len(p.names())-1)+")")
	if err != nil {
		return err
	}
	defer into.Close()
	for _, row := range rows {
		for i := range row {
			if p.kind(i) != 'c' {
				continue
			}
			id, err := clocks.id(ctx, tx, row[i].(int64))
			if err != nil {
				return err
			}
			row[i] = id
		}
		if p.table == "meta" {
			value, keep, err := clocks.meta(ctx, tx, row[0].(string), row[1].(string))
			if err != nil {
				return err
			}
			if !keep {
				continue
			}
			row[1] = value
		}
		if _, err := into.ExecContext(ctx, row...); err != nil {
			return err
		}
	}
	return nil
}

// readable tries what a start will read of a table.
func (j *Journal) readable(table string) (err error) {
	ever := time.Unix(0, 0)
	switch table {
	case "intents":
		_, err = j.Unfinished()
	case "outcomes":
		_, err = j.DeliveriesSince(ever)
	case "asks":
		_, err = j.Standing(ever)
	case "plants":
		_, err = j.PlantEvents(ever, time.UTC)
	case "feed_steps", "feed_ledgers", "task_events":
		_, err = j.Fed(time.Unix(0, 0))
	}
	return err
}

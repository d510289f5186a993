package journal

import (
	"crypto/sha256"
	"database/sql"
	"encoding/binary"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// left makes a journal as a program of that schema left it, with samples, a zone,
// a decision, a finished and an unfinished watering, and returns what its tables
// hold.
func left(t *testing.T, version int) (path string, rows map[string][]string) {
	t.Helper()
	path = filepath.Join(t.TempDir(), "j.db")
	db, err := single(path, "rwc", "journal_mode(WAL)")
	require.NoError(t, err)
	for _, step := range migrations()[:version] {
		_, err = db.Exec(step)
		require.NoError(t, err)
	}
	_, err = db.Exec(fmt.Sprintf("PRAGMA application_id=%d; PRAGMA user_version=%d", applicationID, version))
	require.NoError(t, err)
	wall := start.UnixMilli()
	for _, q := range []string{
		"INSERT INTO clocks(id,name) VALUES(1,'boot-of-old')",
		"INSERT INTO names(id,name) VALUES(1,'zone chilli'),(2,'probe chilli-top')",
		fmt.Sprintf("INSERT INTO zones(zone,at_wall,at_synced,water,refill,capacity,state) VALUES(1,%d,1,0.41,0.38,0.5,0)", wall),
		fmt.Sprintf("INSERT INTO samples(probe,at_wall,at_synced,volts,water,temp_c,quality,fault) VALUES(2,%d,1,1.5,0.41,22.5,2,0)", wall),
		fmt.Sprintf("INSERT INTO intents(id,line,zone,kind,litres,max_on,max_litres,why,clock,at_mono,at_wall,at_synced,settled) VALUES(7,'chilli','chilli',0,2,900000000000,2.5,1,1,5,%d,1,1),(8,'chilli','chilli',0,3,900000000000,3.5,1,1,6,%d,1,0)", wall, wall+60_000),
		fmt.Sprintf("INSERT INTO outcomes(id,line,zone,kind,litres,metered,open_for,ending,clock,opened_mono,opened_wall,opened_synced,closed_mono,closed_wall,closed_synced) VALUES(7,'chilli','chilli',0,2,0,600000000000,1,1,5,%d,1,6,%d,1)", wall, wall+30_000),
		fmt.Sprintf("INSERT INTO decisions(at_wall,at_synced,zone,line,\"order\",cause,text) VALUES(%d,1,'chilli','chilli',7,0,'two litres')", wall),
	} {
		_, err = db.Exec(q)
		require.NoError(t, err, q)
	}
	rows = everything(t, db)
	require.NoError(t, db.Close())
	return path, rows
}

// everything is what each table holds, by the columns it has now.
func everything(t *testing.T, db *sql.DB) map[string][]string {
	t.Helper()
	out := map[string][]string{}
	names, err := db.Query("SELECT name FROM sqlite_master WHERE type='table' AND name NOT LIKE 'sqlite_%'")
	require.NoError(t, err)
	var tables []string
	for names.Next() {
		var n string
		require.NoError(t, names.Scan(&n))
		tables = append(tables, n)
	}
	require.NoError(t, names.Close())
	for _, n := range tables {
		rows, err := db.Query("SELECT * FROM " + n)
		require.NoError(t, err)
		cols, err := rows.Columns()
		require.NoError(t, err)
		for rows.Next() {
			vals, to := make([]any, len(cols)), make([]any, len(cols))
			for i := range vals {
				to[i] = &vals[i]
			}
			require.NoError(t, rows.Scan(to...))
			var cells []string
			for i, v := range vals {
				if v != nil {
					cells = append(cells, fmt.Sprintf("%s=%v", cols[i], v))
				}
			}
			out[n] = append(out[n], strings.Join(cells, " "))
		}
		require.NoError(t, rows.Err())
		require.NoError(t, rows.Close())
	}
	return out
}

// TestEverySchemaIsBroughtForward: from each schema there ever was, nothing that
// was written is lost or changed, and what was unfinished still counts.
func TestEverySchemaIsBroughtForward(t *testing.T) {
	for version := 1; version < len(migrations()); version++ {
		t.Run(fmt.Sprintf("from %d", version), func(t *testing.T) {
			path, before := left(t, version)
			j := open(t, path)
			v, err := j.SchemaVersion()
			require.NoError(t, err)
			assert.Equal(t, len(migrations()), v)
			now := everything(t, j.read)
			for _, table := range []string{"zones", "samples", "intents", "outcomes", "decisions", "names"} {
				for _, row := range before[table] {
					assert.Contains(t, now[table], row, table)
				}
			}
			unfinished, err := j.Unfinished()
			require.NoError(t, err)
			require.Len(t, unfinished, 1)
			assert.Equal(t, garden.OrderID(8), unfinished[0].Order.ID)
			assert.Equal(t, 3.5, unfinished[0].MaxLitres)
			last, err := j.LastOrderID()
			require.NoError(t, err)
			assert.Equal(t, garden.OrderID(8), last)
			past, err := j.DeliveriesSince(start.Add(-time.Hour))
			require.NoError(t, err)
			require.Len(t, past, 1)
			assert.Equal(t, 2.0, past[0].Litres)
			require.NoError(t, j.Close())
			again := open(t, path)
			for _, table := range []string{"zones", "samples", "intents", "outcomes", "decisions"} {
				assert.Equal(t, now[table], everything(t, again.read)[table], "a second start changes nothing")
			}
		})
	}
}

// TestBegunAtOnce: a start waits for the card at each commit, so a new journal has
// one for its whole schema, not one for each step of it. Frames of a write-ahead log
// have a header of 24 bytes whose second number is not zero in the last of a commit
// (SQLite's file format, section 4).
func TestBegunAtOnce(t *testing.T) {
	path := filepath.Join(t.TempDir(), "j.db")
	j := open(t, path)
	v, err := j.SchemaVersion()
	require.NoError(t, err)
	require.Equal(t, len(migrations()), v)
	log, err := os.ReadFile(path + "-wal")
	require.NoError(t, err)
	page := int(binary.BigEndian.Uint32(log[8:]))
	commits := 0
	for at := 32; at+24+page <= len(log); at += 24 + page {
		if binary.BigEndian.Uint32(log[at+4:]) != 0 {
			commits++
		}
	}
	assert.Positive(t, commits)
	assert.LessOrEqual(t, commits, 3)
}

// TestMigrationThatFails leaves a whole version behind, with all it held, and goes
// on from there once what stood in its way is gone.
func TestMigrationThatFails(t *testing.T) {
	for version := 1; version < len(migrations()); version++ {
		t.Run(fmt.Sprintf("from %d", version), func(t *testing.T) {
			path, before := left(t, version)
			// The last thing the next step makes is there already, as no journal has it.
			step := migrations()[version]
			made := step[strings.LastIndex(step, "CREATE "):]
			fields := strings.Fields(made)
			name, _, _ := strings.Cut(fields[2], "(")
			db, err := single(path, "rw")
			require.NoError(t, err)
			_, err = db.Exec("CREATE TABLE " + name + "(in_the_way INTEGER)")
			require.NoError(t, err)
			require.NoError(t, db.Close())
			_, _, err = Open(path)
			require.ErrorContains(t, err, fmt.Sprintf("migrate to schema %d", version+1))

			db, err = single(path, "rw")
			require.NoError(t, err)
			var v int
			require.NoError(t, db.QueryRow("PRAGMA user_version").Scan(&v))
			assert.Equal(t, version, v)
			now := everything(t, db)
			for table, rows := range before {
				assert.Equal(t, rows, now[table], table)
			}
			_, err = db.Exec("DROP TABLE " + name)
			require.NoError(t, err)
			require.NoError(t, db.Close())
			j := open(t, path)
			v, err = j.SchemaVersion()
			require.NoError(t, err)
			assert.Equal(t, len(migrations()), v)
		})
	}
}

// TestReleasedSchemasStay: a step that was released is never changed, for there
// are journals it was applied to. A change is a new step.
func TestReleasedSchemasStay(t *testing.T) {
	released := []string{
		"c1b4573da8e7f983", "08aa900889918bb8", "757257b467fe1c59", "89a4357dedba902b",
		"db2545225d9b9ce0", "66b2dc745535bdff",
	}
	require.GreaterOrEqual(t, len(migrations()), len(released))
	for i, want := range released {
		assert.Equal(t, want, fmt.Sprintf("%x", sha256.Sum256([]byte(migrations()[i])))[:16], "schema %d", i+1)
	}
}

package journal

import (
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"time"

	"fabricpot/control/garden"
)

// OpenReader opens a journal for reading alone, while a gateway may go on
// writing it: nothing is migrated, mended, set aside or written. A journal of
// an older schema is read as far as it goes. What would write answers with an
// error.
func OpenReader(path string) (*Journal, error) {
	fail := func(err error) (*Journal, error) { return nil, fmt.Errorf("journal %s: read: %w", path, err) }
	if _, err := aFile(path); err != nil {
		return fail(err)
	}
	j := &Journal{path: path, now: time.Now}
	why, err := j.openReader("reading")
	// In a folder that can't be written SQLite finds no place for the file that
	// readers and the writer share; with no log beside it nobody is writing.
	const readOnly, cantOpen = 8, 14
	if c := code(err); c == readOnly || c == cantOpen {
		if _, noLog := os.Stat(path + "-wal"); errors.Is(noLog, fs.ErrNotExist) {
			_ = j.shut() // nothing was written
			why, err = j.openReader("ro")
		}
	}
	if err == nil && why != "" {
		err = errors.New(why)
	}
	if err != nil {
		_ = j.shut() // the first error says more
		return fail(err)
	}
	return j, nil
}

// openReader opens in a mode of single; why says what is wrong with the file.
func (j *Journal) openReader(mode string) (why string, err error) {
	head, err := readHead(j.path)
	if err != nil {
		return "", err
	}
	if (len(head) < len(header) || string(head[:len(header)]) != string(header)) && !logged(j.path) {
		return "the file does not begin like a journal", nil
	}
	if j.read, err = single(j.path, mode, "busy_timeout(3000)", "query_only(1)"); err != nil {
		return "", err
	}
	j.read.SetMaxOpenConns(3)
	var app int64
	if err := j.read.QueryRow("PRAGMA application_id").Scan(&app); Damaged(err) {
		return "the file is damaged", nil
	} else if err != nil {
		return "", err
	}
	if app != applicationID {
		return "this is no journal of a gateway", nil
	}
	if j.version, err = j.SchemaVersion(); err != nil {
		return "", err
	}
	if have := len(migrations()); j.version > have {
		return fmt.Sprintf("its schema is version %d and this program knows up to %d: install the newer program", j.version, have), nil
	}
	return "", nil
}

// AskedFor is what a person or hub asked for, or said that they did.
type AskedFor struct {
	At     garden.Moment
	Kind   garden.AskKind
	Zone   garden.ZoneID
	Litres float64
	Who    string
}

// Asks returns what was asked for between two times, oldest first.
func (j *Journal) Asks(from, to time.Time) ([]AskedFor, error) {
	var out []AskedFor
	err := j.query("asks", func(rows *sql.Rows) error {
		var a AskedFor
		var at int64
		if err := rows.Scan(&at, &a.At.Synced, &a.Kind, &a.Zone, &a.Litres, &a.Who); err != nil {
			return err
		}
		a.At.Wall = time.UnixMilli(at).UTC()
		out = append(out, a)
		return nil
	}, `SELECT at_wall,at_synced,kind,zone,litres,who FROM asks WHERE at_wall BETWEEN ? AND ? ORDER BY at_wall,id`, from.UnixMilli(), to.UnixMilli())
	return out, err
}

// ProbeHealth counts a probe's samples by quality.
type ProbeHealth struct {
	Probe                garden.ProbeID
	Good, Uncertain, Bad int
	// Fault is the commonest one of the samples that were not good.
	Fault garden.ReadingFault
}

// ProbesBetween returns the quality of every probe that has samples between two
// times, by name.
func (j *Journal) ProbesBetween(from, to time.Time) ([]ProbeHealth, error) {
	var out []ProbeHealth
	most := 0
	err := j.query("probes", func(rows *sql.Rows) error {
		var name string
		var quality garden.Quality
		var fault garden.ReadingFault
		var n int
		if err := rows.Scan(&name, &quality, &fault, &n); err != nil {
			return err
		}
		id := garden.ProbeID(name[len("probe "):])
		if len(out) == 0 || out[len(out)-1].Probe != id {
			out, most = append(out, ProbeHealth{Probe: id}), 0
		}
		p := &out[len(out)-1]
		switch quality {
		case garden.Good:
			p.Good += n
			return nil
		case garden.Uncertain:
			p.Uncertain += n
		default:
			p.Bad += n
		}
		if n > most {
			most, p.Fault = n, fault
		}
		return nil
	}, j.probesQuery(), from.UnixMilli(), to.UnixMilli())
	return out, err
}

// probesQuery counts samples by probe, quality and fault. Names are joined to each
// table by itself, to samples from the names on: joined to the view of both, all
// samples there are would be read.
func (j *Journal) probesQuery() string {
	const when = ` WHERE at_wall BETWEEN ?1 AND ?2 AND name LIKE 'probe %' GROUP BY name,quality,fault`
	from := `SELECT name,quality,fault,count(*) n FROM names CROSS JOIN samples ON probe=id` + when
	if j.version >= recentVersion {
		from += ` UNION ALL SELECT name,quality,fault,count(*) FROM recent_samples CROSS JOIN names ON id=probe` + when
	}
	return `SELECT name,quality,fault,sum(n) FROM (` + from + `) GROUP BY name,quality,fault ORDER BY name`
}

// ZoneNames returns every zone that the journal has samples of, by name.
func (j *Journal) ZoneNames() ([]garden.ZoneID, error) {
	var out []garden.ZoneID
	err := j.query("zones", func(rows *sql.Rows) error {
		var name string
		err := rows.Scan(&name)
		out = append(out, garden.ZoneID(name))
		return err
	}, `SELECT substr(name,6) FROM names WHERE name LIKE 'zone %' ORDER BY 1`)
	return out, err
}

// Span returns the times of the first and last sample of a zone; ok is false
// where there is none.
func (j *Journal) Span() (first, last time.Time, ok bool, err error) {
	recents := ""
	if j.version >= recentVersion {
		recents = ` UNION ALL SELECT min(at_wall), max(at_wall) FROM recent_zones`
	}
	err = j.query("span", func(rows *sql.Rows) error {
		var a, b sql.NullInt64
		if err := rows.Scan(&a, &b); err != nil {
			return err
		}
		first, last, ok = time.UnixMilli(a.Int64).UTC(), time.UnixMilli(b.Int64).UTC(), a.Valid
		return nil
	}, `SELECT min(a), max(b) FROM (SELECT (SELECT min(at_wall) FROM zones WHERE zone=id) a, (SELECT max(at_wall) FROM zones WHERE zone=id) b FROM names`+recents+`)`)
	return first, last, ok, err
}

package journal

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strconv"
	"time"

	"fabricpot/control/garden"
)

// Retention says how long samples are kept how finely. Everything else in the
// journal is kept for ever.
type Retention struct {
	// AsSampled is how long samples stay as they were taken, Quarter how long
	// means of a quarter of an hour do; older ones are means of an hour, for
	// ever. Both count from now.
	AsSampled, Quarter time.Duration
	// Pause is waited between steps, so that whoever has an intent to write
	// gets his turn and a slow card catches up. It may be nil.
	Pause func(context.Context) error
}

// DefaultRetention is a fortnight as sampled and a season by the quarter hour.
func DefaultRetention() Retention {
	return Retention{AsSampled: 14 * 24 * time.Hour, Quarter: 200 * 24 * time.Hour}
}

// Tidied is what Retain did.
type Tidied struct {
	// Before and After count the samples looked at and what they became.
	Before, After int
	// Pages were given back to the file system.
	Pages int
}

const (
	// thinSpan is how much time one transaction thins: some dozen
	// milliseconds' work, in which an intent has to wait.
	thinSpan = 2 * time.Hour
	// vacuumPages is how many pages one transaction gives back.
	vacuumPages = 64
)

// Retain thins old samples and gives freed pages back, in many short
// transactions. It may be stopped at any time through ctx and goes on where it
// was when called again. It does nothing while the wall clock is unconfirmed:
// a clock that is years ahead would thin yesterday.
func (j *Journal) Retain(ctx context.Context, now garden.Moment, r Retention) (Tidied, error) {
	var done Tidied
	if !now.Synced {
		return done, nil
	}
	if r.AsSampled <= 0 || r.Quarter < r.AsSampled {
		return done, fmt.Errorf("journal: retain: as sampled for %v, then quarters for %v: expected two rising ages", r.AsSampled, r.Quarter)
	}
	pause := func() error {
		if r.Pause == nil {
			return ctx.Err()
		}
		return r.Pause(ctx)
	}
	if err := j.sortIn(); err != nil {
		return done, err
	}
	if err := pause(); err != nil {
		return done, err
	}
	for _, level := range []struct {
		mark string
		to   time.Duration
		age  time.Duration
	}{
		{"thinned to quarters", 15 * time.Minute, r.AsSampled},
		{"thinned to hours", time.Hour, r.Quarter},
	} {
		end := now.Wall.Add(-level.age).Truncate(thinSpan).UnixMilli()
		from, err := j.thinFrom(level.mark)
		if err != nil {
			return done, err
		}
		for from < end {
			next, before, after, err := j.thin(level.mark, from, end, level.to)
			if err != nil {
				return done, err
			}
			done.Before, done.After = done.Before+before, done.After+after
			from = next
			if err := pause(); err != nil {
				return done, err
			}
		}
	}
	for {
		n, err := j.giveBack()
		if err != nil || n == 0 {
			return done, err
		}
		done.Pages += n
		if err := pause(); err != nil {
			return done, err
		}
	}
}

func (j *Journal) thinFrom(mark string) (int64, error) {
	s, ok, err := j.Meta(mark)
	if err != nil || !ok {
		return 0, err
	}
	at, err := strconv.ParseInt(s, 10, 64)
	if err != nil {
		return 0, fmt.Errorf("journal: retain: mark %q is %q: expected a number", mark, s)
	}
	return at, nil
}

// thin makes one span's samples into means, in one transaction with its mark.
func (j *Journal) thin(mark string, from, end int64, to time.Duration) (next int64, before, after int, err error) {
	err = j.write("retain", func(ctx context.Context, tx *sql.Tx) error {
		first, any, err := firstSample(ctx, tx, from, end)
		if err != nil {
			return err
		}
		next = end
		if any {
			// Gaps, and the years before a clock was right, are skipped.
			span := thinSpan.Milliseconds()
			a := max(from, first/span*span)
			next = min(end, a+span)
			for _, t := range []thinner{probeThinner{}, zoneThinner{}} {
				b, n, err := thinTable(ctx, tx, t, a, next, to.Milliseconds())
				if err != nil {
					return err
				}
				before, after = before+b, after+n
			}
		}
		// Of what is older than its samples the spans of that length are kept no
		// longer: the means have the same step.
		if _, err := tx.ExecContext(ctx, `DELETE FROM spans WHERE length=?1 AND at_wall<?2 AND zone IN (SELECT id FROM names)`,
			spanLengths()[0].Milliseconds(), next); err != nil {
			return err
		}
		return j.setMeta(ctx, tx, mark, strconv.FormatInt(next, 10))
	})
	return next, before, after, err
}

// firstSample is the time of the earliest sample in [from, end) of either
// table. Both are sorted by name first, so each name is asked for on its own.
func firstSample(ctx context.Context, tx *sql.Tx, from, end int64) (at int64, any bool, err error) {
	var first sql.NullInt64
	err = tx.QueryRowContext(ctx, `SELECT min(t) FROM (
		SELECT (SELECT min(at_wall) FROM samples WHERE probe=id AND at_wall>=?1 AND at_wall<?2) t FROM names
		UNION ALL
		SELECT (SELECT min(at_wall) FROM zones WHERE zone=id AND at_wall>=?1 AND at_wall<?2) FROM names)`, from, end).Scan(&first)
	return first.Int64, first.Valid, err
}

// giveBack returns some free pages to the file system and says how many.
func (j *Journal) giveBack() (int, error) {
	j.writing.Lock()
	defer j.writing.Unlock()
	if j.easy == nil {
		return 0, fmt.Errorf("journal: retain: %w", errClosed)
	}
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	var mode, before, after int
	err := errors.Join(
		j.easy.QueryRowContext(ctx, "PRAGMA auto_vacuum").Scan(&mode),
		j.easy.QueryRowContext(ctx, "PRAGMA freelist_count").Scan(&before))
	// A reserve stays: tomorrow's samples would only ask for it again.
	give := min(before-vacuumPages, vacuumPages)
	if err != nil || mode != incremental || give <= 0 {
		return 0, err
	}
	if _, err := j.easy.ExecContext(ctx, fmt.Sprintf("PRAGMA incremental_vacuum(%d)", give)); err != nil {
		return 0, fmt.Errorf("journal: retain: %w", err)
	}
	if err := j.easy.QueryRowContext(ctx, "PRAGMA freelist_count").Scan(&after); err != nil {
		return 0, fmt.Errorf("journal: retain: %w", err)
	}
	return before - after, nil
}

package main

import (
	"database/sql"
	"fmt"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/feed"
	"fabricpot/control/feeding"
	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"
)

// What the kill harness sees of feeds: one falls due every few lives, since the
// calendar leaps between them, and each may be begun and given once, whoever dies.

const (
	killFed   = garden.LineID("fed")
	killFeedL = 0.3 // 2.7 s
	// killFeedLives is how many lives have each feed due, killFeedGap how far the
	// calendar leaps before the next: its interval, and days past its cap's window.
	killFeedLives = 3
	killFeedGap   = 8 * 24 * time.Hour
)

// killLeaps is how long after a feed fell due each of its lives begins: in the time
// in which it may be resumed, and after it. Without a leap no pot is fed again for a
// while, since a probe that was just watered is not believed at a start.
var killLeaps = [killFeedLives]time.Duration{0, 2 * time.Hour, 24 * time.Hour}

// leapClock is a board's clock, taken as confirmed, on another day.
type leapClock struct {
	runner.BoardClock
	offset time.Duration // wall time over monotonic time, since 1970
	zone   *time.Location
}

// newLeapClock takes the offset as feedDue writes it.
func newLeapClock(offset string, zone *time.Location) leapClock {
	n, err := strconv.ParseInt(offset, 10, 64)
	if err != nil {
		panic(err) // of a test by itself
	}
	return leapClock{runner.NewBoardClock(zone), time.Duration(n), zone}
}

func (c leapClock) Moment() garden.Moment {
	m := c.BoardClock.Moment()
	m.Wall, m.Synced = time.Unix(0, int64(c.offset+m.Mono)).In(c.zone), true
	return m
}

// seenFeed is what injector and line did since the present feed fell due.
type seenFeed struct {
	due     time.Time
	begun   int // before it
	engaged int // times
	gaveL   float64
	// ranOnL of it came after a kill, before the next start let go of the injector.
	ranOnL        float64
	on, dead      bool
	fromL, deadAt float64 // by the line's litres
	struck, whole int     // in all: kills with the injector engaged, and feeds given
}

// dose drives the injector's pin.
func (w *World) dose(id garden.LineID, l gpio.Level) error {
	p, f := w.wires.InjectorPin(id), &w.feed
	err := p.Out(l)
	on, litres := p.Energised(), w.soil.LineLitres(id)
	switch {
	case on && !f.on:
		f.engaged++
		f.fromL = litres
		if !w.wires.Pin(id).Energised() {
			w.wrong = append(w.wrong, fmt.Sprintf("life %d engaged the injector of line %s without water", w.lives, id))
		}
	case !on && f.on:
		f.gaveL += litres - f.fromL
		if f.dead {
			f.ranOnL += litres - f.deadAt
		} else if litres-f.fromL > 0.9*killFeedL {
			f.whole++
		}
	}
	if f.on = on; !on {
		f.dead = false
	}
	return err
}

// feedDue lets the calendar leap to where the next feed is due, and returns the
// wall time of the life to come as its clock wants it.
func (w *World) feedDue(start time.Time, n int) string {
	w.mu.Lock()
	defer w.mu.Unlock()
	days := time.Duration(n/killFeedLives) * killFeedGap
	offset := time.Duration(start.Add(days+killLeaps[n%killFeedLives]).UnixNano()) - w.boot0
	if n%killFeedLives == 0 {
		w.catchUp()
		f := &w.feed
		litres := w.soil.LineLitres(killFed)
		// What still runs from the life before belongs to the feed before.
		*f = seenFeed{due: start.Add(days), begun: w.begun, on: f.on, dead: f.dead, fromL: litres, deadAt: litres, struck: f.struck, whole: f.whole}
	}
	return strconv.FormatInt(int64(offset), 10)
}

// strike says what to wait for before the life to come is killed, and how soon
// after: two feeds in four are struck while they are given and one as it ends, the
// last as it comes, for which ready is nil. A life that has to charge the line
// first, for an intent that a kill left unfinished, feeds no pot: a probe that may
// just have been watered is believed two hours later. The next life is that much
// later by the calendar.
func (w *World) strike(n int) (ready func() bool, within time.Duration) {
	w.mu.Lock()
	defer w.mu.Unlock()
	f := &w.feed
	if w.owes[killFed] || f.engaged > 0 || w.begun > f.begun {
		return nil, 0
	}
	switch n / killFeedLives % 4 {
	case 0, 2:
		return w.sees(func(f *seenFeed) bool { return f.engaged > 0 }), 1500 * time.Millisecond
	case 1:
		return w.sees(func(f *seenFeed) bool { return f.engaged > 0 && !f.on }), 100 * time.Millisecond
	}
	return nil, 0
}

func (w *World) sees(yes func(*seenFeed) bool) func() bool {
	return func() bool {
		w.mu.Lock()
		defer w.mu.Unlock()
		return yes(&w.feed)
	}
}

// compareFeed holds what the injector did against the journal, just after a kill.
// The world is locked.
func (w *World) compareFeed(t *testing.T, n int, db *sql.DB) {
	t.Helper()
	f := &w.feed
	litres := w.soil.LineLitres(killFed)
	gave, ranOn := f.gaveL, f.ranOnL
	if f.on {
		gave += litres - f.fromL
		ranOn += litres - f.deadAt
	}
	var pulses, settled int
	var intended, given sql.NullFloat64
	require.NoError(t, db.QueryRow("SELECT count(*) FROM feed_steps WHERE kind=?", feed.Begun).Scan(&w.begun))
	require.NoError(t, db.QueryRow("SELECT count(*),sum(litres) FROM feed_steps WHERE kind=? AND at_wall>=?", feed.PulseIntended, f.due.UnixMilli()).Scan(&pulses, &intended))
	// Those of an earlier feed may be settled at this one's time, but not intended.
	require.NoError(t, db.QueryRow(`SELECT count(*),sum(litres) FROM feed_steps s WHERE kind=? AND EXISTS
		(SELECT 1 FROM feed_steps i WHERE i.kind=? AND i.at_wall>=? AND i.zone=s.zone AND i.feed=s.feed AND i.pulse=s.pulse)`,
		feed.PulseSettled, feed.PulseIntended, f.due.UnixMilli()).Scan(&settled, &given))
	if settled == pulses && !f.on {
		assert.LessOrEqual(t, gave-ranOn, given.Float64+killStallL, "kill %d: litres with the injector engaged, by the feed book", n)
	}
	assert.LessOrEqual(t, w.begun-f.begun, 1, "kill %d: times the feed of %s was begun", n, f.due)
	assert.LessOrEqual(t, intended.Float64, killFeedL+1e-9, "kill %d: litres of feed intended for one feed", n)
	assert.LessOrEqual(t, f.engaged, pulses, "kill %d: the injector was engaged more often than pulses were intended", n)
	assert.LessOrEqual(t, gave-ranOn, killFeedL+killStallL, "kill %d: litres with the injector engaged", n)
	w.tally.injectedL = max(w.tally.injectedL, gave-ranOn)
}

// tendedKills writes that the garden was looked after until a feed was due.
func tendedKills(t *testing.T, dir string, start time.Time) {
	t.Helper()
	j, _, err := journal.Open(filepath.Join(dir, "journal.db"), journal.WithClock("long ago"))
	require.NoError(t, err)
	require.NoError(t, j.KeepLedgers([]feeding.Snapshot{{Zone: garden.ZoneID(killFed), At: start.Add(-2 * time.Hour), Began: start.Add(-killFeedGap)}}))
	require.NoError(t, j.Close())
}

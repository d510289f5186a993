package main

import (
	"database/sql"
	"fmt"
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"
)

// What came through each line, opening by opening, against what the journal says of
// the order that each stands for.

const (
	// killStallL is what a line gives while a busy machine holds a close up.
	killStallL = killFlowLPH / 3600.0 / 4
	// killEpsL is the roundness of the terrace's water and of two clocks' readings.
	killEpsL = 0.002
)

// passage is one opening of a line.
type passage struct {
	at, till time.Duration // by the board's clock
	fromL    float64       // what the line had given before
	litres   float64
	shut     bool
	// killed tells that a kill left it open, having let diedL through.
	killed bool
	diedL  float64
}

// tally is what a run comes to.
type tally struct {
	unfinished, open int // intents and openings that kills left
	// worstShare is the most that a charge was over what came, of one pulse, but for
	// those that a start made which was slower than a pulse.
	worstShare   float64
	slow         int
	overL, saidL float64 // what charges were over what came; the journal's sum
	injectedL    float64 // the most of a feed while the gateway lived
}

// valve drives a line's pin and keeps what came through.
func (w *World) valve(id garden.LineID, l gpio.Level) error {
	p := w.wires.Pin(id)
	was := p.Energised()
	err := p.Out(l)
	litres, now := w.soil.LineLitres(id), w.boot0+w.clk.Now()
	switch on := p.Energised(); {
	case on && !was:
		w.through[id] = append(w.through[id], passage{at: now, fromL: litres})
		w.opens[id]++
		if id != killFed && w.opens[id] > w.asked[id] {
			w.wrong = append(w.wrong, fmt.Sprintf("life %d opened line %s %d times and was asked for %d", w.lives, id, w.opens[id], w.asked[id]))
		}
	case was && !on:
		last := &w.through[id][len(w.through[id])-1]
		last.till, last.litres, last.shut = now, litres-last.fromL, true
	}
	return err
}

// accounted is an order as the journal has it.
type accounted struct {
	id             int64
	at             time.Duration
	maxL           float64
	settled        bool
	litres         float64
	ending         garden.Ending
	opened, closed time.Duration
}

func entries(t *testing.T, db *sql.DB, id garden.LineID) (out []accounted) {
	t.Helper()
	rows, err := db.Query(`SELECT i.id,i.at_mono,i.max_litres,i.settled,ifnull(o.litres,0),ifnull(o.ending,0),ifnull(o.opened_mono,0),ifnull(o.closed_mono,0),
		o.id IS NOT NULL FROM intents i LEFT JOIN outcomes o ON o.id=i.id WHERE i.line=? ORDER BY i.id`, string(id))
	require.NoError(t, err)
	defer rows.Close()
	for rows.Next() {
		var e accounted
		var has bool
		require.NoError(t, rows.Scan(&e.id, &e.at, &e.maxL, &e.settled, &e.litres, &e.ending, &e.opened, &e.closed, &has))
		require.Equal(t, e.settled, has, "line %s, order %d: settled, and an outcome", id, e.id)
		out = append(out, e)
	}
	require.NoError(t, rows.Err())
	return out
}

// died notes what a kill left open. It runs on until the next start, which charges
// that time as well.
func (w *World) died() {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.catchUp()
	w.alive = false
	for id, through := range w.through {
		if k := len(through) - 1; !through[k].shut && !through[k].killed {
			through[k].killed, through[k].diedL = true, w.soil.LineLitres(id)-through[k].fromL
			w.tally.open++
		}
	}
	if f := &w.feed; f.on && !f.dead {
		f.struck++
		f.dead, f.deadAt = true, w.soil.LineLitres(killFed)
	}
}

// compare holds what the terrace received against what the journal says, just
// after a kill and before the next start.
func (w *World) compare(t *testing.T, n int, path string, g *garden.Garden) {
	t.Helper()
	w.died()
	db, err := sql.Open("sqlite", "file:"+path+"?mode=ro")
	require.NoError(t, err)
	defer db.Close()
	var verdict string
	require.NoError(t, db.QueryRow("PRAGMA integrity_check").Scan(&verdict))
	require.Equal(t, "ok", verdict)
	var strays int
	require.NoError(t, db.QueryRow("SELECT count(*) FROM outcomes WHERE id NOT IN (SELECT id FROM intents)").Scan(&strays))
	require.Zero(t, strays, "kill %d: outcomes without an intent", n)
	w.mu.Lock()
	defer w.mu.Unlock()
	w.catchUp()
	assert.Empty(t, w.wrong)
	w.wrong = nil
	w.compareFeed(t, n, db)
	w.tally.worstShare, w.tally.slow, w.tally.overL, w.tally.saidL = 0, 0, 0, 0
	for i := range g.Lines {
		w.compareLine(t, n, g.Lines[i].ID, entries(t, db, g.Lines[i].ID))
	}
}

// compareLine holds each opening of a line against its order, and all of them
// against the journal. The world is locked.
func (w *World) compareLine(t *testing.T, n int, id garden.LineID, all []accounted) {
	t.Helper()
	got, through := w.soil.LineLitres(id), w.through[id]
	said, known, left, ranOnL := 0.0, true, 0, 0.0
	w.owes[id] = false
	k := 0
	for i := range all {
		e := &all[i]
		var mine *passage
		for ; k < len(through) && (i+1 == len(all) || through[k].at < all[i+1].at); k++ {
			require.Nil(t, mine, "kill %d, line %s: order %d opened it twice", n, id, e.id)
			mine = &through[k]
			require.GreaterOrEqual(t, mine.at, e.at, "kill %d, line %s: opened before there was an intent", n, id)
			if mine.killed && mine.shut {
				ranOnL += mine.litres - mine.diedL
			}
		}
		if !e.settled {
			left++
			said += e.maxL
			w.owes[id] = true
			if w.intent[id] != e.id {
				// A life that is killed before its first charge leaves that of the
				// life before.
				w.intent[id] = e.id
				w.tally.unfinished++
			}
			if known = mine == nil || !mine.killed; known && mine != nil {
				assert.LessOrEqual(t, mine.litres, e.maxL+killEpsL, "kill %d, line %s: order %d, still to be charged", n, id, e.id)
			}
			continue
		}
		said += e.litres
		w.compareOrder(t, n, id, e, mine)
	}
	w.tally.saidL += said
	require.Equal(t, len(through), k, "kill %d, line %s: openings without an intent on the journal", n, id)
	assert.LessOrEqual(t, left, 1, "kill %d, line %s: unfinished intents", n, id)
	if known {
		assert.LessOrEqual(t, got, said+killEpsL, "kill %d, line %s: the terrace got more than the journal knows", n, id)
	}
	if id != killFed {
		assert.LessOrEqual(t, got-ranOnL-w.running(id, got), killWorstL*float64(w.asks[id])+killStallL, "kill %d, line %s: litres for what was asked", n, id)
	}
}

// running is what a line that a kill left open gave since, L.
func (w *World) running(id garden.LineID, got float64) float64 {
	if k := len(w.through[id]) - 1; k >= 0 && !w.through[id][k].shut {
		return got - w.through[id][k].fromL - w.through[id][k].diedL
	}
	return 0
}

// compareOrder holds an order that was settled against what came through meanwhile,
// nil for nothing.
func (w *World) compareOrder(t *testing.T, n int, id garden.LineID, e *accounted, p *passage) {
	t.Helper()
	nominal := func(d time.Duration) float64 { return killFlowLPH * d.Hours() }
	came := 0.0
	if p != nil {
		require.True(t, p.shut, "kill %d, line %s: order %d is settled and its line driven", n, id, e.id)
		came = p.litres
	}
	over := e.litres - came
	if e.ending != garden.Unfinished {
		// From the decision to open to that to close, both a moment before the coil's.
		lag := 0.0
		if p != nil {
			lag = nominal((p.at - e.opened) - (p.till - e.closed))
		}
		assert.InDelta(t, lag, over, killEpsL, "kill %d, line %s: order %d by the journal and by the line, a latency apart", n, id, e.id)
		return
	}
	pulse := worst(id)
	assert.InDelta(t, max(e.maxL, nominal(e.closed-e.at)), e.litres, 1e-6, "kill %d, line %s: order %d charged in full", n, id, e.id)
	assert.LessOrEqual(t, e.maxL, pulse+1e-6, "kill %d, line %s: order %d is one pulse", n, id, e.id)
	assert.GreaterOrEqual(t, over, -killEpsL, "kill %d, line %s: order %d let more through than it was charged", n, id, e.id)
	// A start too slow to charge before a pulse could have ended charges what the line
	// would have given, since nobody could know that it was closed.
	idle := e.closed - e.at
	if p != nil {
		idle -= p.till - p.at
	}
	assert.LessOrEqual(t, over, max(pulse, nominal(idle))+killEpsL, "kill %d, line %s: order %d charged more than one pulse too much", n, id, e.id)
	w.tally.overL += over
	if nominal(idle) > pulse {
		w.tally.slow++
	} else {
		w.tally.worstShare = max(w.tally.worstShare, over/pulse)
	}
}

// worst is what an order of a line gives by its deadline, L.
func worst(id garden.LineID) float64 {
	if id == killFed {
		return 1.25 * killFeedL
	}
	return killWorstL
}

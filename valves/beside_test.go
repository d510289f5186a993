package valves

import (
	"errors"
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// besideLedger is a ledger that remembers elsewhere what it can't write.
type besideLedger struct {
	*memLedger
	aside map[garden.OrderID]garden.Intent
	ended map[garden.OrderID]garden.Delivery
	err   error
}

func (b *besideLedger) IntendBeside(o garden.Order, worst float64, at garden.Moment) error {
	*b.log = append(*b.log, "beside "+string(o.Line))
	b.aside[o.ID] = garden.Intent{Order: o, MaxLitres: worst, At: at}
	return b.err
}

func (b *besideLedger) SettleBeside(d garden.Delivery) error {
	if _, ok := b.aside[d.Order]; ok {
		b.ended[d.Order] = d
	}
	return nil
}

func newBesideRig(t *testing.T) (*rig, *besideLedger) {
	r := newRig(t, nil)
	b := &besideLedger{memLedger: r.ledger, aside: map[garden.OrderID]garden.Intent{}, ended: map[garden.OrderID]garden.Delivery{}}
	r.Guard.ledger = b
	return r, b
}

// TestUnwrittenIsRememberedBeside: what opens though the journal can't take it is
// remembered elsewhere before its coil, with what it may give and no more, and so is
// what came of it, also behind an outcome that waits for the journal.
func TestUnwrittenIsRememberedBeside(t *testing.T) {
	r, b := newBesideRig(t)
	doseL := r.lines[0].doseL
	_, ok := r.Request(at(2*time.Hour), Env{}, r.order("chard", 1, time.Hour))
	require.True(t, ok)
	require.Empty(t, b.aside, "the journal has it")
	r.ledger.broken = true
	r.drive(2*time.Hour, 3*time.Hour)
	require.Error(t, r.Flush())

	*r.log = nil
	o := r.order("chilli", 5, time.Hour)
	_, ok = r.Request(at(4*time.Hour), Env{}, o)
	require.True(t, ok)
	require.Equal(t, []string{"beside chilli", "open chilli"}, (*r.log)[:2])
	in := b.aside[o.ID]
	assert.InDelta(t, doseL, in.Order.Litres, 1e-9)
	assert.LessOrEqual(t, in.MaxLitres, doseL+1e-9)
	assert.Empty(t, b.ended)
	r.drive(4*time.Hour, 6*time.Hour)
	require.Error(t, r.Flush())
	require.Contains(t, b.ended, o.ID, "though an outcome of before can't be written either")
	assert.Len(t, b.ended, 1, "the other's intent is in the journal")
	assert.GreaterOrEqual(t, b.ended[o.ID].Litres, doseL*(1-1e-6))

	t.Run("not where nothing opens", func(t *testing.T) {
		f := r.order("chilli", 1, time.Hour)
		f.Kind = garden.Feeding
		c, ok := r.Request(at(8*time.Hour), Env{}, f)
		require.False(t, ok)
		assert.Equal(t, garden.NoJournal, c.Cause)
		assert.NotContains(t, b.aside, f.ID)
	})
	t.Run("where that fails too the doses go on", func(t *testing.T) {
		b.err = errors.New("no folder")
		_, ok := r.Request(at(9*time.Hour), Env{}, r.order("chilli", 1, time.Hour))
		assert.True(t, ok)
	})
}

// TestUnwrittenIsChargedAndWritten: what only another place remembers of earlier runs
// is charged as anything else, and written where the journal takes it.
func TestUnwrittenIsChargedAndWritten(t *testing.T) {
	r, _ := newBesideRig(t)
	now := at(10 * time.Hour)
	d := garden.Delivery{Order: 70, Line: "chilli", Zone: "chilli", Litres: 2, Open: 15 * time.Minute, OpenedAt: at(8 * time.Hour), ClosedAt: at(8*time.Hour + 15*time.Minute)}
	foreign := d
	foreign.Order, foreign.ClosedAt.Mono = 71, 700*time.Hour
	r.Restore(now, time.Hour, nil, []garden.PastDelivery{{Delivery: d, SameClock: true, Unwritten: true}, {Delivery: foreign, Unwritten: true}})
	lines, _ := r.Snapshot(now)
	assert.InDelta(t, 4, lines[0].SpentL, 1e-9)
	require.NoError(t, r.Flush())
	assert.Equal(t, d, r.ledger.settled[70])
	assert.Equal(t, now, r.ledger.settled[71].ClosedAt, "on this clock it was over at the start")
	lines, _ = r.Snapshot(d.ClosedAt.Add(day))
	assert.Less(t, lines[0].SpentL, 3.0, "the first left its day")
}

package feeding

import (
	"time"

	"fabricpot/control/feed"
	"fabricpot/control/garden"
)

// ZoneView is what people are shown of one zone's feeding. Grams are of N.
type ZoneView struct {
	Zone garden.ZoneID `json:"zone"`
	Fed  bool          `json:"fed"`
	// Line is empty where a person feeds it.
	Line garden.LineID `json:"line,omitempty"`
	// Weak tells that it is fed with every watering, so that there is no feed to
	// ask for.
	Weak  bool   `json:"weak,omitempty"`
	Phase string `json:"phase"`
	// Words say when it is fed next or why it waits.
	Words string     `json:"words"`
	Last  *time.Time `json:"last_feed"`
	// NDaysLeft is for how long nitrogen lasts, NPoolG what is dissolved in the
	// pot; absent before the ledger began.
	NDaysLeft  *float64 `json:"n_days_left"`
	NPoolG     *float64 `json:"n_pool_g"`
	NFedG      float64  `json:"n_fed_g"`
	NUsedG     float64  `json:"n_used_g"`
	NLeachedG  float64  `json:"n_leached_g"`
	NextLitres float64  `json:"next_litres"`
	NextNPPM   float64  `json:"next_n_ppm"`
	Due        feed.Due `json:"due"`
	Stage      string   `json:"stage"`
	// SaltMS is the conductivity of the pot's water at capacity by the account of
	// salts, absent where the supply's is not known; DrainMS what was last
	// measured below and not flushed since; FeedMS the feed's own. All mS/cm.
	SaltMS  *float64   `json:"salt_ms"`
	DrainMS *float64   `json:"drain_ms"`
	DrainAt *time.Time `json:"drain_at,omitempty"`
	FeedMS  *float64   `json:"feed_ms"`
	// Flushed is when salts were last washed out on purpose; Flush says in words
	// that it is wanted now, and why.
	Flushed *time.Time `json:"last_flush"`
	// FlushedL is the plain water that flushes through its line gave it since the
	// gateway started, L.
	FlushedL float64 `json:"flushed_l"`
	Flush    string  `json:"flush,omitempty"`
	// WaitedDays is for how long of its wait pot or weather kept a due feed back:
	// a full pot, heavy rain, cold or hot mix, salt.
	WaitedDays float64       `json:"waited_days"`
	Held       feed.Hold     `json:"-"`
	FeedID     garden.FeedID `json:"feed"`
}

// View says how zone i is fed.
func (p *Plan) View(st *State, i int) ZoneView {
	zp, zs := &p.zones[i], &st.zones[i]
	v := ZoneView{Zone: zp.zone}
	if zs.seq == nil {
		v.Words = "not fed by this gateway"
		return v
	}
	v.Weak = zp.weak
	v.Fed, v.Line, v.Phase, v.FeedID = true, zp.feed.Line, zs.seq.Phase().String(), zs.seq.Feed()
	v.NextLitres, v.NextNPPM, v.Due, v.Stage, v.Held = zs.portio.Litres, zs.portio.NPPM, zs.due, zs.stage.String(), zs.held.Hold
	v.WaitedDays = zs.waited.Hours() / 24
	if at, _, ok := zs.seq.Last(); ok {
		v.Last = &at
	}
	if zs.has {
		pool := zs.ledger.Pool.N
		v.NPoolG, v.NFedG, v.NUsedG, v.NLeachedG = &pool, zs.ledger.Fed.N, zs.ledger.Taken.N, zs.ledger.Leached.N
		if zs.due.NDaysLeft.Known {
			n := zs.due.NDaysLeft.Value
			v.NDaysLeft = &n
		}
	}
	p.viewSalts(st, i, &v)
	switch {
	case zs.seq.Phase() == feed.Flushing:
		v.Words = "plain water washes salts out"
	case zs.seq.Phase() != feed.Waiting:
		v.Words = "a feed is under way: " + zs.seq.Phase().String()
	case zs.empty && (zp.led || p.bare(st, i)):
		v.Words = "nothing grows in it"
	case zp.led:
		v.Words = "fed along with its line"
	case zp.weak:
		v.Words = zs.weakWords()
	case zs.due.Now:
		v.Words = zs.due.Words()
		if zs.held.Hold != feed.NoHold && zs.held.Hold != feed.NothingDue {
			v.Words += "; " + zs.held.String()
		}
	case zs.due.NextOn.IsZero():
		v.Words = "waits for a confirmed clock"
	default:
		v.Words = zs.due.Words()
	}
	return v
}

// viewSalts fills in the salts of a fed zone.
func (p *Plan) viewSalts(st *State, i int, v *ZoneView) {
	zs := &st.zones[i]
	show := func(m garden.Measured) *float64 {
		if !m.Known {
			return nil
		}
		return &m.Value
	}
	v.SaltMS, v.DrainMS, v.FeedMS, v.Flush = show(p.saltMS(st, i)), show(zs.drain), show(zs.feedMS), zs.flushWhy
	if zs.drain.Known {
		at := zs.drainAt
		v.DrainAt = &at
	}
	v.FlushedL = zs.flushedL
	if !zs.flushed.IsZero() {
		at := zs.flushed
		v.Flushed = &at
	}
}

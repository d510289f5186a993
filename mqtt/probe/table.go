package probe

import (
	"context"
	"fmt"
	"sync"
	"time"

	"fabricpot/control/garden"
	"fabricpot/mqtt"
	"fabricpot/mqtt/topic"
)

// Table is the latest reading of every remote probe of a garden.
type Table struct {
	rate  float64
	index map[garden.ProbeID]*entry
	// byTopic lists whose readings a topic carries; one message of a node may
	// carry several probes.
	byTopic map[string][]*entry
	filters []string
	mu      sync.Mutex
}

// Options tune a table.
type Options struct {
	// Rate is how many messages a second one probe may send for long; more
	// are counted and ignored. 0 means 10, negative means no limit.
	Rate float64
}

// burst is how many messages may come at once before Rate applies.
const burst = 30

// rising is how many messages in a row must climb from below before a sequence
// that went back is believed to have started again.
const rising = 3

type entry struct {
	probe garden.ProbeID
	zone  garden.ZoneID
	src   source

	have    bool
	value   float64
	at      garden.Moment // when the value was true, as far as known
	arrived garden.Moment
	seq     uint64
	hasSeq  bool
	low     uint64 // last of the numbers seen below seq
	climbs  int
	tokens  float64
	refill  time.Duration
	counts  Counts
}

// Counts say what became of a probe's messages.
type Counts struct {
	Accepted, Repeated, Overtaken, Retained, Malformed, Surplus uint64
	// LastError is what was wrong with the last malformed message.
	LastError string
}

// NewTable makes a table of the garden's remote probes. Every problem is
// reported; probes with one are left out.
func NewTable(tree topic.Tree, g *garden.Garden, o Options) (*Table, []error) {
	t := &Table{rate: o.Rate, index: make(map[garden.ProbeID]*entry), byTopic: make(map[string][]*entry)}
	if t.rate == 0 {
		t.rate = 10
	}
	var errs []error
	for _, p := range g.ProbeList() {
		if p.Remote == nil {
			continue
		}
		src, err := newSource(tree, p.ID, *p.Remote)
		if err != nil {
			errs = append(errs, err)
			continue
		}
		if _, twice := t.index[p.ID]; twice {
			errs = append(errs, fmt.Errorf("probe %s is there twice", p.ID))
			continue
		}
		e := &entry{probe: p.ID, zone: p.Zone, src: src, tokens: burst}
		t.index[p.ID] = e
		if t.byTopic[src.topic] == nil && !src.own {
			t.filters = append(t.filters, src.topic)
		}
		if src.own && (len(t.filters) == 0 || t.filters[0] != tree.All(topic.Probe)) {
			t.filters = append([]string{tree.All(topic.Probe)}, t.filters...)
		}
		t.byTopic[src.topic] = append(t.byTopic[src.topic], e)
	}
	return t, errs
}

// Filters are the subscriptions the table lives on. Quality of service 0 is
// enough: the next reading says more than a repeated one.
func (t *Table) Filters() []string { return t.filters }

// Run takes messages until the context ends. Start one for each inbox.
func (t *Table) Run(ctx context.Context, in *mqtt.Inbox) {
	for {
		select {
		case <-ctx.Done():
			return
		case m := <-in.C():
			t.Take(m)
		}
	}
}

// Take puts one message into the table. Messages on foreign topics do nothing.
func (t *Table) Take(m mqtt.Message) {
	t.mu.Lock()
	defer t.mu.Unlock()
	for _, e := range t.byTopic[m.Topic] {
		e.take(m, t.rate)
	}
}

func (e *entry) take(m mqtt.Message, rate float64) {
	if rate > 0 {
		e.tokens = min(burst, e.tokens+rate*max(0, m.At.Mono-e.refill).Seconds())
		e.refill = m.At.Mono
		if e.tokens < 1 {
			e.counts.Surplus++
			return
		}
		e.tokens--
	}
	s, err := e.src.decode(m.Payload)
	if err != nil {
		e.counts.Malformed++
		e.counts.LastError = err.Error()
		return
	}
	at := m.At
	if s.hasSec && m.At.Synced {
		// The node says how old the reading is. A node's clock may be a
		// little ahead of ours, never a reading.
		age := time.Duration((float64(m.At.Wall.UnixNano())/1e9 - s.unix) * float64(time.Second))
		if s.unix < 0 || age < -5*time.Minute || age > 365*24*time.Hour {
			e.counts.Malformed++
			e.counts.LastError = fmt.Sprintf("time %.0f is not within the last year: set the node's clock", s.unix)
			return
		}
		at = m.At.Add(-max(0, age))
	} else if m.Retain {
		// Kept by the broker, who knows for how long.
		e.counts.Retained++
		return
	}
	if e.have && at.Mono < e.at.Mono && s.hasSec {
		e.counts.Overtaken++
		return
	}
	if s.hasSeq && e.hasSeq && !e.follows(s.seq) {
		return
	}
	e.seq, e.hasSeq, e.climbs = s.seq, s.hasSeq, 0
	e.value, e.at, e.arrived, e.have = s.value, at, m.At, true
	e.counts.Accepted++
}

// follows judges a sequence number against the last one taken.
func (e *entry) follows(seq uint64) bool {
	switch {
	case seq > e.seq:
		return true
	case seq == e.seq:
		e.counts.Repeated++
		return false
	}
	// Lower: overtaken by the one we have, or the node was restarted. Old
	// messages come singly; a restarted node counts up and up.
	if e.climbs > 0 && seq <= e.low {
		e.climbs = 0
	}
	e.low = seq
	if e.climbs++; e.climbs < rising {
		e.counts.Overtaken++
		return false
	}
	return true
}

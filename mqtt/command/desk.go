package command

import (
	"fmt"
	"strings"
	"sync"
	"time"

	"fabricpot/control/garden"
	"fabricpot/mqtt"
	"fabricpot/mqtt/payload"
	"fabricpot/mqtt/topic"
)

const (
	// remembered bounds the identities kept; with perMinute it is never
	// reached before they expire.
	remembered = 1024
	// perMinute bounds how many commands are taken; closing all is always.
	perMinute = 60
	// skew is how much a sender's clock may differ from ours.
	skew = 5 * time.Second
)

// Desk takes commands.
type Desk struct {
	tree  topic.Tree
	zones map[garden.ZoneID]bool

	mu     sync.Mutex
	seen   map[string]time.Duration // id → when it may be forgotten, monotonic
	tokens float64
	refill time.Duration
}

// NewDesk returns the desk of a garden.
func NewDesk(tree topic.Tree, g *garden.Garden) *Desk {
	d := &Desk{tree: tree, zones: make(map[garden.ZoneID]bool), seen: make(map[string]time.Duration), tokens: perMinute}
	g.EachZone(func(_ *garden.Pot, z *garden.Zone) { d.zones[z.ID] = true })
	return d
}

// Filter is the subscription the desk lives on, with quality of service 1 and a
// clean session.
func (d *Desk) Filter() string { return d.tree.Of(topic.Do, "") }

// Take judges one message. The reply says whether it was accepted and if not,
// why; send it at once. Where accepted is false the wish is empty.
func (d *Desk) Take(m mqtt.Message) (wish Wish, accepted bool, reply mqtt.Message) {
	w, n, err := decode(m.Payload)
	if err == nil {
		err = d.judge(m, &w, n)
	}
	if err != nil {
		return Wish{}, false, Reply(d.tree, w.ID, false, err.Error())
	}
	wish = Wish{ID: w.ID, Do: w.Do, Target: w.Alarm + w.Task}
	a := garden.Ask{Zone: garden.ZoneID(w.Zone), Who: "broker, " + w.ID}
	switch w.Do {
	case Water:
		a.Kind, a.Litres = garden.AskWater, *w.Litres
	case Feed:
		a.Kind = garden.AskFeed
	case KeepShut:
		a.Kind, a.Until = garden.AskShut, m.At.Add(time.Duration(*w.Minutes*float64(time.Minute)))
	case Release:
		a.Kind = garden.AskRelease
	case AutoOn:
		a.Kind = garden.AskAutoOn
	case AutoOff:
		a.Kind = garden.AskAutoOff
	case Stop:
		wish.Target, a.Zone = w.Zone, ""
	default:
		// Nothing for the controller to decide.
	}
	wish.Ask = a
	return wish, true, Reply(d.tree, w.ID, true, "accepted")
}

// ForController reports whether the wish's Ask is to be handed to the
// controller. The zero Ask asks for water, so nobody may hand on the others.
func (w Wish) ForController() bool {
	switch w.Do {
	case Water, Feed, KeepShut, Release, AutoOn, AutoOff:
		return true
	}
	return false
}

// judge refuses what is well formed and may not be obeyed.
func (d *Desk) judge(m mqtt.Message, w *wire, n needs) error {
	if m.Retain {
		return fmt.Errorf("a retained command may be of any age: publish it without retain")
	}
	if n.zone && w.Zone != "" && !d.zones[garden.ZoneID(w.Zone)] {
		return fmt.Errorf("there is no zone %.48q", w.Zone)
	}
	at, err := time.Parse(time.RFC3339Nano, w.Expires)
	if err != nil {
		return fmt.Errorf("expires %.40q, expected a time like 2026-07-01T12:00:30+03:00", w.Expires)
	}
	left := at.Sub(m.At.Wall)
	switch {
	case !m.At.Synced && n.flows:
		return fmt.Errorf("the gateway's clock is not certain yet, so nobody can tell whether this is late")
	case m.At.Synced && left < 0:
		return fmt.Errorf("late: it expired %v ago by the gateway's clock", (-left).Round(time.Millisecond))
	case m.At.Synced && left > MaxAhead+skew:
		return fmt.Errorf("it expires in %v, allowed are %v", left.Round(time.Second), MaxAhead)
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	now := m.At.Mono
	if until, there := d.seen[w.ID]; there && now < until {
		return fmt.Errorf("repeated: this id was used already")
	}
	d.tokens = min(perMinute, d.tokens+perMinute*max(0, now-d.refill).Minutes())
	d.refill = now
	if d.tokens < 1 || len(d.seen) >= remembered {
		d.forget(now)
		if (d.tokens < 1 || len(d.seen) >= remembered) && w.Do != CloseAll {
			return fmt.Errorf("too many commands at once, allowed are %d a minute", perMinute)
		}
	}
	d.tokens = max(0, d.tokens-1)
	if len(d.seen) < remembered {
		// Longer than it could still be valid by any clock that was let pass.
		d.seen[w.ID] = now + MaxAhead + 2*skew
	}
	return nil
}

// forget drops what has expired.
func (d *Desk) forget(now time.Duration) {
	for id, until := range d.seen {
		if now >= until {
			delete(d.seen, id)
		}
	}
}

// answer is a reply's payload.
type answer struct {
	ID       string `json:"id"`
	Accepted bool   `json:"accepted"`
	Reason   string `json:"reason"`
}

// Reply is the answer to a command. It may be given twice: when the command is
// taken and, with accepted false, when what came of it was refused later. An id
// that cannot be answered is answered as "unknown".
func Reply(tree topic.Tree, id string, accepted bool, reason string) mqtt.Message {
	if !garden.ValidID(id) {
		id = "unknown"
	}
	if len(reason) > 500 {
		reason = reason[:500]
	}
	b, err := payload.Encode(answer{ID: id, Accepted: accepted, Reason: strings.ToValidUTF8(reason, "")})
	if err != nil {
		b = []byte(`{"id":"` + id + `","accepted":false,"reason":"not readable"}`)
	}
	return mqtt.Message{Topic: tree.Of(topic.Reply, id), Payload: b, QoS: 1}
}

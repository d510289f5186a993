package valve

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
	"sync"
	"time"

	"fabricpot/control/garden"
	"fabricpot/mqtt"
	"fabricpot/mqtt/payload"
	"fabricpot/mqtt/topic"
	"fabricpot/valves"
)

const (
	// answerWithin is how long a node may take to obey.
	answerWithin = 10 * time.Second
	// repeatAfter is the pause between close commands.
	repeatAfter = time.Second
	// silentAfter is how long a node may say nothing; the contract asks for a
	// state every minute.
	silentAfter = 3 * time.Minute
	// goodFor is how long an open command may wait to be written.
	goodFor = 2 * time.Second
	// notAfter is how long after it was given an open command may be obeyed.
	notAfter = 10 * time.Second
	leastOn  = time.Second
)

// Sender is the part of a link that a valve needs.
type Sender interface {
	Send(mqtt.Message, time.Duration) error
	Epoch() (epoch uint64, up bool)
}

// Valve is one remote valve.
type Valve struct {
	line       garden.LineID
	set, state string
	plain      *garden.PlainValve
	link       Sender
	clock      func() garden.Moment
	run        string

	mu sync.Mutex
	n  uint64 // commands made
	// What we want.
	open     bool
	order    garden.OrderID
	wantedAt time.Duration
	until    time.Duration // when an opening is over by its own limit
	id       string        // of the last command
	since    uint64        // closes from this number on prove a close
	sentAt   time.Duration
	sent     bool
	// What was heard.
	confirmed bool // the state we want was confirmed
	early     bool // it closed by itself before its time
	stranger  bool // it was heard open while it should be closed
	mixed     bool // it is open for another order
	lost      bool
	heardAt   time.Duration
	seq       uint64
	hasSeq    bool
	epoch     uint64
	malformed string
}

// New returns the valve of a line. run is a short random text of this run of
// the program, so that no command id is ever used twice. Both clocks are asked
// of clock.
func New(tree topic.Tree, line garden.LineID, v garden.Valve, link Sender, run string, clock func() garden.Moment) (*Valve, error) {
	out := &Valve{line: line, link: link, clock: clock, run: run}
	if v.Kind != garden.RemoteValve {
		return nil, fmt.Errorf("valve of line %s: kind %q is not remote", line, v.Kind)
	}
	if p := v.Plain; p != nil {
		switch {
		case p.OwnLimit <= 0:
			return nil, fmt.Errorf("valve of line %s: a device that knows only %s and %s stays open when nobody can reach it: give its own time limit, or use another device", line, p.On, p.Off)
		case p.On == "" || p.Off == "" || p.On == p.Off:
			return nil, fmt.Errorf("valve of line %s: %q and %q are no two words", line, p.On, p.Off)
		case p.Set == p.State:
			return nil, fmt.Errorf("valve of line %s: command and state share the topic %q, where our own command would pass for the device's answer: expected two topics", line, p.Set)
		case !topic.ValidName(p.Set) || !topic.ValidName(p.State) || !payload.ValidPointer(p.StatePath):
			return nil, fmt.Errorf("valve of line %s: topics %q and %q, pointer %q: expected two topics and a JSON pointer", line, p.Set, p.State, p.StatePath)
		}
		out.plain, out.set, out.state = p, p.Set, p.State
		return out, nil
	}
	out.set, out.state = tree.Of(topic.ValveSet, v.Node), tree.Of(topic.ValveState, v.Node)
	if out.set == "" {
		return nil, fmt.Errorf("valve of line %s: node %q is no identifier (a-z, 0-9 and inner hyphens)", line, v.Node)
	}
	return out, nil
}

// Commanded are the filters of all that remote valves of these lines listen to, and
// of the nodes that the tree may get: whoever writes there opens a valve with no
// permit, no charge and no intent in the journal. A broker of our own lets nobody
// write there but the gateway.
func Commanded(tree topic.Tree, lines []garden.Line) []string {
	out := []string{tree.All(topic.ValveSet)}
	for i := range lines {
		if v := &lines[i].Valve; v.Kind == garden.RemoteValve && v.Plain != nil && topic.ValidName(v.Plain.Set) {
			out = append(out, v.Plain.Set)
		}
	}
	return out
}

// Filter is the subscription the valve lives on. It wants quality of service 1.
func (v *Valve) Filter() string { return v.state }

// Line is the line it belongs to.
func (v *Valve) Line() garden.LineID { return v.line }

// LeastOn is the shortest opening a command can ask for: it counts whole seconds.
func (v *Valve) LeastOn() time.Duration { return leastOn }

// Open sends the open command. It is an error without a valid grant or a
// connection; that the valve really opens is told by Trouble.
func (v *Valve) Open(g valves.Grant) error {
	if !g.Valid() {
		return valves.ErrNoGrant
	}
	seconds := int64(g.MaxOn() / time.Second)
	if g.MaxOn() < leastOn {
		return fmt.Errorf("valve of line %s: %v is too short for a remote valve, expected a second or more", v.line, g.MaxOn())
	}
	v.mu.Lock()
	defer v.mu.Unlock()
	now := v.clock()
	v.follow()
	if !g.Valid() { // withdrawn while we waited for the lock
		return valves.ErrNoGrant
	}
	c := command{ID: v.next(), Do: "open", Order: strconv.FormatUint(uint64(g.Order()), 10), Seconds: seconds}
	if now.Synced {
		c.NotAfter = now.Wall.Add(notAfter).Unix()
	}
	if err := v.send(c, 0); err != nil {
		// It cannot be on its way: the link refused it. But what we knew of
		// the valve is not younger for that.
		return fmt.Errorf("valve of line %s: open: %w", v.line, err)
	}
	v.open, v.order, v.wantedAt, v.until = true, g.Order(), now.Mono, now.Mono+time.Duration(seconds)*time.Second
	v.sent, v.sentAt, v.id, v.since = true, now.Mono, c.ID, v.n
	v.confirmed, v.early, v.stranger, v.mixed = false, false, false, false
	return nil
}

// Close sends the close command, or relies on the one sent a moment ago, and
// returns at once. Tick repeats it until it is confirmed.
func (v *Valve) Close() error {
	v.mu.Lock()
	defer v.mu.Unlock()
	return v.shut(v.clock())
}

func (v *Valve) shut(now garden.Moment) error {
	v.follow()
	if v.open || v.wantedAt == 0 {
		v.open, v.wantedAt, v.sent, v.confirmed = false, max(1, now.Mono), false, false
		v.since = v.n + 1
	}
	if _, up := v.link.Epoch(); !up {
		return fmt.Errorf("valve of line %s: close: %w", v.line, mqtt.ErrOffline)
	}
	if v.sent && now.Mono-v.sentAt < repeatAfter {
		return nil
	}
	c := command{ID: v.next(), Do: "close"}
	if err := v.send(c, 1); err != nil {
		return fmt.Errorf("valve of line %s: close: %w", v.line, err)
	}
	// A valve that was confirmed closed stays so; another command changes
	// nothing about it.
	v.sent, v.sentAt, v.id = true, now.Mono, c.ID
	return nil
}

// next makes the id of a command. The lock is held.
func (v *Valve) next() string {
	v.n++
	return v.run + "-" + strconv.FormatUint(v.n, 10)
}

func (v *Valve) send(c command, qos byte) error {
	var b []byte
	if v.plain != nil {
		b = []byte(v.plain.Off)
		if c.Do == "open" {
			b = []byte(v.plain.On)
		}
	} else {
		var err error
		if b, err = payload.Encode(c); err != nil {
			return err
		}
	}
	return v.link.Send(mqtt.Message{Topic: v.set, Payload: b, QoS: qos}, goodFor)
}

// follow forgets what was confirmed over a connection that is gone. The lock is
// held.
func (v *Valve) follow() {
	if e, _ := v.link.Epoch(); e != v.epoch {
		v.epoch, v.confirmed, v.sent = e, false, false
		v.since = v.n + 1
	}
}

// obeyed reports whether ack is the id of the command whose answer counts: the
// last one, and while closing any of the repeated ones. Nothing was sent between
// them that opens, and where an answer takes longer than the pause between two,
// that to the last never comes in time.
func (v *Valve) obeyed(ack string) bool {
	if v.open {
		return v.id != "" && ack == v.id
	}
	text, ours := strings.CutPrefix(ack, v.run+"-")
	n, err := strconv.ParseUint(text, 10, 64)
	return ours && err == nil && n >= v.since && n <= v.n && strconv.FormatUint(n, 10) == text
}

// errForeign is for messages on topics that are not the valve's.
var errForeign = errors.New("not this valve's topic")

// Take reads a message on the valve's state topic.
func (v *Valve) Take(m mqtt.Message) error {
	if m.Topic != v.state {
		return errForeign
	}
	var h heard
	var err error
	if v.plain != nil {
		h, err = decodePlain(m.Payload, v.plain)
	} else {
		h, err = decodeState(m.Payload)
	}
	v.mu.Lock()
	defer v.mu.Unlock()
	v.follow()
	if err != nil {
		v.malformed = err.Error()
		return fmt.Errorf("valve of line %s: %w", v.line, err)
	}
	v.malformed = ""
	if h.lost {
		v.lost, v.confirmed = true, false
		return nil
	}
	if m.Retain {
		// True once; nobody knows when. Closed proves nothing, and open is
		// reason enough to close.
		if h.open && !v.open {
			v.stranger, v.confirmed = true, false
		}
		return nil
	}
	// The proof of a command: its id where the valve knows ids, else any word
	// that came after it.
	proof := v.plain == nil && v.obeyed(h.ack) || v.plain != nil && v.sent && m.At.Mono >= v.sentAt
	// Overtaken: an older word of the node. One that says open is heeded
	// anyway; it costs a close command at worst.
	old := h.hasSeq && v.hasSeq && h.seq <= v.seq && v.seq-h.seq < 1000
	if old && !h.open && !(proof && !v.confirmed) {
		return nil
	}
	if h.hasSeq {
		v.seq, v.hasSeq = h.seq, true
	}
	v.lost, v.heardAt = false, m.At.Mono
	switch {
	case v.open && h.open:
		v.mixed = v.plain == nil && h.order != v.order
		v.confirmed = proof && !v.mixed || v.confirmed && !v.mixed
	case v.open: // heard closed
		if proof && (v.plain == nil || v.confirmed) {
			// It obeyed and is closed: by its own limit, its button, a fault.
			v.early = m.At.Mono < v.until-repeatAfter
			v.confirmed, v.open = true, false
		} else if v.plain == nil {
			// Restarted meanwhile, or a word from before that was held up:
			// nobody knows until the guard closes it.
			v.confirmed = false
		}
	case h.open: // should be closed
		v.stranger, v.confirmed = true, false
		// Only the answer to a fresh command will do; of a plain device, a word
		// that comes after it.
		v.since = v.n + 1
		if v.plain != nil {
			v.sent = false
		}
	case proof:
		v.confirmed, v.stranger = true, false
	}
	return nil
}

// Closed tells whether the valve is closed, where that is known.
func (v *Valve) Closed() (closed, known bool) {
	v.mu.Lock()
	defer v.mu.Unlock()
	v.follow()
	now := v.clock().Mono
	if _, up := v.link.Epoch(); !up || v.lost || !v.confirmed || v.plain == nil && now-v.heardAt > silentAfter {
		return false, false
	}
	return !v.open, true
}

// Tick repeats a close that is not confirmed. Call it every few hundred
// milliseconds.
func (v *Valve) Tick() {
	v.mu.Lock()
	defer v.mu.Unlock()
	v.follow()
	now := v.clock()
	if v.plain == nil && !v.open && v.confirmed && now.Mono-v.heardAt > silentAfter {
		// Asking again wakes up a node that was restarted and counts anew.
		v.confirmed = false
	}
	if v.open || v.wantedAt == 0 || v.confirmed {
		return
	}
	_ = v.shut(now) // the next tick tries again, and Trouble tells
}

var _ valves.Actuator = (*Valve)(nil)

package bench

import (
	"math"
	"math/rand/v2"
	"time"

	"fabricpot/control/garden"
)

// ContactFault is what can be wrong with a reed, a float and their wires.
type ContactFault uint8

const (
	// ContactHealthy closes once for each pulse, or while there is water.
	ContactHealthy ContactFault = iota
	// ContactBounces: each closing chatters, amount more edges within 10 ms.
	ContactBounces
	// ContactDoubles: each closing is followed by amount more, 700 ms apart: a
	// magnet that swings back, or a bucket that rocks in the wind.
	ContactDoubles
	// ContactLoses: the share amount of the edges is dropped by a full queue.
	ContactLoses
	// ContactDead: the wire is broken. Nothing is counted, a float reads open.
	ContactDead
	// ContactWelded: the contact is closed for ever. Nothing is counted, a float
	// reads closed.
	ContactWelded
	// ContactGhosts: amount pulses an hour come from nowhere.
	ContactGhosts
	// ContactGone: the line can't be held, and the reader is told.
	ContactGone
)

// Contact is a reed or a float at an input line, with the edges that a kernel
// would hand over of it.
type Contact struct {
	// Immutable.
	clk   *Clock
	count func() float64 // pulses so far, whole and begun
	state func() bool    // a float's

	// Mutable.
	rng    *rand.Rand
	tally  garden.Tally
	seq    uint32
	at     time.Duration
	made   float64 // of count
	ghosts float64
	fault  ContactFault
	amount float64
}

// NewCounter is a reed that closes whenever count passes a whole number. dead is
// what its reader takes for bouncing.
func NewCounter(clk *Clock, seed uint64, dead time.Duration, count func() float64) *Contact {
	return &Contact{clk: clk, count: count, made: math.Floor(count()), at: clk.Now(),
		tally: garden.Tally{Dead: dead}, rng: rand.New(rand.NewPCG(seed, 0xc0_17ac7))}
}

// NewSwitch is a contact that is closed while state holds.
func NewSwitch(clk *Clock, state func() bool) *Contact {
	return &Contact{clk: clk, state: state}
}

// Fail sets or, with ContactHealthy, ends a fault from the clock's present time
// on.
func (c *Contact) Fail(f ContactFault, amount float64) {
	if c.count != nil {
		c.catchUp()
	}
	c.fault, c.amount = f, amount
}

// errGone is what a line that can't be held says.
type errGone struct{}

func (errGone) Error() string { return "bench: the input line is held by somebody else" }

// Pulses is what a reader of the line's edges has counted.
func (c *Contact) Pulses() garden.Pulses {
	c.catchUp()
	p := c.tally.Seen()
	if c.fault == ContactGone {
		p.Err = errGone{}
	}
	return p
}

// Closed is a float's contact.
func (c *Contact) Closed() (bool, error) {
	switch c.fault {
	case ContactGone:
		return false, errGone{}
	case ContactDead:
		return false, nil
	case ContactWelded:
		return true, nil
	}
	return c.state(), nil
}

// catchUp makes the edges since the last look, evenly over the time between.
func (c *Contact) catchUp() {
	now := c.clk.Now()
	span := now - c.at
	n := math.Floor(c.count()) - c.made
	c.made += max(0, n)
	if c.fault == ContactGhosts {
		c.ghosts += c.amount * span.Hours()
		more := math.Floor(c.ghosts)
		c.ghosts -= more
		n += more
	}
	from := c.at
	c.at = now
	if c.fault == ContactDead || c.fault == ContactWelded || c.fault == ContactGone {
		return
	}
	for i := range int(max(0, n)) {
		at := from + time.Duration((float64(i)+1)/n*float64(span))
		c.edge(at)
		for k := range int(c.amount) {
			switch c.fault {
			case ContactBounces:
				c.edge(at + time.Duration(float64(k+1)/(c.amount+1)*1e7))
			case ContactDoubles:
				c.edge(at + time.Duration(k+1)*700*time.Millisecond)
			}
		}
	}
}

// edge numbers one edge, and hands it over unless the queue is full.
func (c *Contact) edge(at time.Duration) {
	c.seq++
	if c.fault == ContactLoses && c.rng.Float64() < c.amount {
		return
	}
	c.tally.Take(at, c.seq)
}

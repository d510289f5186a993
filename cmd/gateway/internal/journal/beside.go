package journal

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"sync"

	"fabricpot/cmd/gateway/internal/place"
	"fabricpot/control/garden"
)

// Beside remembers the orders that open while the journal can't be written, what
// people asked for then that outlives a restart, and the starts, until it can again. It
// stands in a folder of the running system, in memory: it outlives a gateway that is
// killed, and a power cut takes it away, with which a plain coil falls. A nil one
// remembers nothing.
type Beside struct {
	path, clock string

	mu sync.Mutex
	remembered
	// stale tells that the file may hold other requests than these.
	stale bool
}

// remembered is what the file holds.
type remembered struct {
	Orders []besideOrder `json:"orders,omitempty"`
	Asks   []besideAsk   `json:"asks,omitempty"`
	Starts []besideStart `json:"starts,omitempty"`
	Spent  *besideSpent  `json:"restart_budget,omitempty"`
}

// besideOrder is one order and, once its line is closed, what became of it.
type besideOrder struct {
	Clock  string           `json:"clock"`
	Intent garden.Intent    `json:"intent"`
	Given  *garden.Delivery `json:"given,omitempty"`
	// Unnumbered tells that no journal gave its number.
	Unnumbered bool `json:"unnumbered,omitempty"`
}

// besideMost bounds how many orders are remembered; a line has a few doses.
const besideMost = 512

// OpenBeside reads what an earlier run left at path, none where there is no file.
// The clock is named as for WithClock, empty where no two runs share one. An empty
// path remembers in the program alone. After an error, which says what can't be
// read, it goes on with none.
func OpenBeside(path, clock string) (*Beside, error) {
	b := &Beside{path: path, clock: clock}
	if path == "" {
		return b, nil
	}
	text, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return b, nil
	}
	if err == nil {
		err = json.Unmarshal(text, &b.remembered)
	}
	if err != nil {
		b.remembered = remembered{}
		return b, fmt.Errorf("journal: what was given while it could not be written: %s: %w; it counts against no day's limit", path, err)
	}
	return b, nil
}

// Intend remembers an order that is about to open; it is in the file when it
// returns nil. unnumbered tells that its number comes from no journal that is kept.
func (b *Beside) Intend(o garden.Order, maxLitres float64, at garden.Moment, unnumbered bool) error {
	if b == nil {
		return nil
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	o.Why = garden.Reason{}
	b.Orders = append(b.Orders, besideOrder{Clock: b.clock, Unnumbered: unnumbered, Intent: garden.Intent{Order: o, MaxLitres: maxLitres, At: at}})
	if len(b.Orders) > besideMost {
		b.Orders = b.Orders[1:]
	}
	return b.save()
}

// Settle remembers what became of an order that Intend was told of. It changes
// nothing for another, or for one that is settled.
func (b *Beside) Settle(d garden.Delivery) error {
	if b == nil {
		return nil
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	i := b.index(d.Order)
	if i < 0 || b.Orders[i].Given != nil {
		return nil
	}
	b.Orders[i].Given = &d
	// It may be an earlier run's, on whose clock nobody closed it.
	b.Orders[i].Clock = b.clock
	return b.save()
}

// Forget drops an order that the journal knows of.
func (b *Beside) Forget(id garden.OrderID) error {
	if b == nil {
		return nil
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	i := b.index(id)
	if i < 0 {
		return nil
	}
	b.Orders = slices.Delete(b.Orders, i, i+1)
	return b.save()
}

// Number gives orders that have none numbers over last.
func (b *Beside) Number(last garden.OrderID) error {
	if b == nil {
		return nil
	}
	last = b.Last(last)
	b.mu.Lock()
	defer b.mu.Unlock()
	n := 0
	for i := range b.Orders {
		o := &b.Orders[i]
		if !o.Unnumbered {
			continue
		}
		last, n = last+1, n+1
		o.Unnumbered, o.Intent.Order.ID = false, last
		if o.Given != nil {
			o.Given.Order = last
		}
	}
	if n == 0 {
		return nil
	}
	return b.save()
}

// Last is the higher of that number and the highest remembered.
func (b *Beside) Last(last garden.OrderID) garden.OrderID {
	if b == nil {
		return last
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	for i := range b.Orders {
		last = max(last, b.Orders[i].Intent.Order.ID)
	}
	return last
}

// Unfinished is what a journal has of unfinished intents with those remembered here,
// and without those that ended.
func (b *Beside) Unfinished(kept []garden.Intent) []garden.Intent {
	if b == nil {
		return kept
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	kept = slices.DeleteFunc(kept, func(u garden.Intent) bool {
		i := b.index(u.Order.ID)
		return i >= 0 && b.Orders[i].Given != nil
	})
	known := len(kept)
	for i := range b.Orders {
		o := &b.Orders[i]
		// One that got onto the card after all is there with all it asked for.
		if o.Given != nil || slices.ContainsFunc(kept[:known], func(u garden.Intent) bool { return u.Order.ID == o.Intent.Order.ID }) {
			continue
		}
		in := o.Intent
		in.SameClock, in.Unwritten = b.same(o), true
		kept = append(kept, in)
	}
	return kept
}

// Recent is what a journal has of deliveries with those remembered here alone.
func (b *Beside) Recent(kept []garden.PastDelivery) []garden.PastDelivery {
	if b == nil {
		return kept
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	known := len(kept)
	for i := range b.Orders {
		o := &b.Orders[i]
		if o.Given == nil || slices.ContainsFunc(kept[:known], func(d garden.PastDelivery) bool { return d.Order == o.Given.Order }) {
			continue
		}
		kept = append(kept, garden.PastDelivery{Delivery: *o.Given, SameClock: b.same(o), Unwritten: true})
	}
	return kept
}

func (b *Beside) same(o *besideOrder) bool { return o.Clock == b.clock && b.clock != "" }

func (b *Beside) index(id garden.OrderID) int {
	return slices.IndexFunc(b.Orders, func(o besideOrder) bool { return o.Intent.Order.ID == id })
}

// save writes the file anew, and removes it where there is nothing to remember.
func (b *Beside) save() error {
	if b.path == "" {
		return nil
	}
	err := func() error {
		if len(b.Orders)+len(b.Asks)+len(b.Starts) == 0 && b.Spent == nil {
			if err := os.Remove(b.path); err != nil && !errors.Is(err, fs.ErrNotExist) {
				return err
			}
			return nil
		}
		text, err := json.Marshal(&b.remembered)
		if err != nil {
			return err
		}
		return place.File(b.path, 0o600, func(f *os.File) error {
			_, err := f.Write(text)
			return errors.Join(err, LikeOwner(f.Name(), filepath.Dir(b.path)))
		})
	}()
	if err != nil {
		return fmt.Errorf("journal: remember beside it: %w", err)
	}
	b.stale = false
	return nil
}

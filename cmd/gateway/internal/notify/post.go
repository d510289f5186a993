package notify

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"

	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/garden"
)

const (
	// memoryKey names what was told among the journal's small values.
	memoryKey = "messages"
	// lookEvery is how often the standing alarms are looked at.
	lookEvery = time.Second
	// keepEvery is how often the book is kept at least, so that little is
	// repeated after a crash.
	keepEvery = time.Hour
	// ringRest is the shortest time between two tests that somebody asks for.
	ringRest = 10 * time.Second
)

// Memory keeps small values over a restart. *journal.Journal is one.
type Memory interface {
	Meta(key string) (string, bool, error)
	SetMeta(key, value string) error
}

// Options are what a Post is made of. Site, Set, Ways, Alarms, Clock and Log must be given.
type Options struct {
	Site garden.Site
	Set  garden.Calling
	Ways []Way
	// Lamp is one of the ways that also has to be tended; nil where there is none. It
	// stays the caller's, who ends it.
	Lamp *Lamp
	// Alarms are those that stand now; known is false before the first round.
	Alarms func() (alarms []runner.AlarmLine, known bool)
	Clock  func() garden.Moment
	// Memory may be nil: then a restart tells everything anew.
	Memory Memory
	// From is what the Post before this one in the same run left; nil is what Memory
	// holds.
	From *Left
	// Log takes a line about what could not be sent.
	Log func(line string)
	// Waits are the pauses between tries; nil means a few that add up to about
	// half an hour.
	Waits []time.Duration
	// Patience bounds one try; 0 means half a minute.
	Patience time.Duration
}

// Post sends messages until it is closed. Its methods may be called from any
// goroutine.
type Post struct {
	o       Options
	outlets []*outlet
	cancel  context.CancelFunc
	done    sync.WaitGroup

	mu   sync.Mutex // of what follows
	book *Book
	kept time.Duration
	// keptWay is how many messages were on their way when the book was kept, and
	// keptTest the month of the last self-test then.
	keptWay  int
	keptTest string
	rung     time.Duration
	ever     bool
}

// Open starts a Post.
func Open(ctx context.Context, o Options) *Post {
	if o.Waits == nil {
		o.Waits = []time.Duration{15 * time.Second, time.Minute, 4 * time.Minute, 10 * time.Minute, 15 * time.Minute}
	}
	p := &Post{o: o, book: NewBook(o.Site, o.Set)}
	now := o.Clock()
	p.kept = now.Mono
	var told []byte
	var err error
	if o.From != nil {
		told, p.book.sent = o.From.told, o.From.sent
	} else if o.Memory != nil {
		var text string
		if text, _, err = o.Memory.Meta(memoryKey); text != "" {
			told = []byte(text)
		}
	}
	if err == nil && told != nil {
		err = p.book.Restore(now, told)
	}
	if err != nil {
		o.Log(fmt.Sprintf("what was told before the start is not known: %v", err))
	}
	ctx, p.cancel = context.WithCancel(context.WithoutCancel(ctx))
	for _, w := range o.Ways {
		out := newOutlet(w, o.Waits, func() time.Time { return o.Clock().Wall }, o.Log)
		if o.Patience > 0 {
			out.patience = o.Patience
		}
		out.goOn(o.From)
		p.outlets = append(p.outlets, out)
		p.done.Add(1)
		go func() { defer p.done.Done(); out.run(ctx) }()
	}
	p.done.Add(1)
	go func() { defer p.done.Done(); p.look(ctx) }()
	return p
}

// look asks the book every second.
func (p *Post) look(ctx context.Context) {
	t := time.NewTicker(lookEvery)
	defer t.Stop()
	for {
		p.turn()
		select {
		case <-ctx.Done():
			return
		case <-t.C:
		}
	}
}

func (p *Post) turn() {
	alarms, known := p.o.Alarms()
	if !known {
		return
	}
	now := p.o.Clock()
	p.mu.Lock()
	m, any := p.book.Decide(now, alarms)
	p.mu.Unlock()
	if any {
		for _, o := range p.outlets {
			o.put(&m)
		}
	}
	unsent := p.unsent()
	p.mu.Lock()
	keep := any || now.Mono-p.kept >= keepEvery || len(unsent) != p.keptWay || p.book.tested != p.keptTest
	p.mu.Unlock()
	if keep {
		p.keep(now, unsent)
	}
	if p.o.Lamp == nil {
		return
	}
	waited := false
	for _, a := range alarms {
		waited = waited || a.Active && !a.Acknowledged && a.OutUntil == nil
	}
	// Where it fails it is tried again in a second; what lit it has said so.
	_ = p.o.Lamp.Tend(waited)
}

// unsent is what is on its way by any of the ways, oldest first.
func (p *Post) unsent() []*Message {
	var out []*Message
	for _, o := range p.outlets {
		out = append(out, o.unsent()...)
	}
	slices.SortStableFunc(out, func(x, y *Message) int { return x.At.Compare(y.At) })
	return out
}

func (p *Post) keep(now garden.Moment, unsent []*Message) []byte {
	p.mu.Lock()
	p.kept, p.keptWay, p.keptTest = now.Mono, len(unsent), p.book.tested
	text, err := p.book.Keep(now, unsent)
	p.mu.Unlock()
	if p.o.Memory != nil && err == nil {
		// A journal that can't be written has an alarm of its own.
		_ = p.o.Memory.SetMeta(memoryKey, string(text))
	}
	return text
}

// Ways tells how each way has been doing.
func (p *Post) Ways() []WayStatus {
	out := make([]WayStatus, 0, len(p.outlets))
	for _, o := range p.outlets {
		out = append(out, o.snapshot())
	}
	return out
}

// Rung is what came of a test by one way.
type Rung struct {
	Name string `json:"name"`
	// Error is empty where the message was taken.
	Error string `json:"error,omitempty"`
}

// Ring sends a self-test by each way now, once, and waits for what comes of it.
func (p *Post) Ring(ctx context.Context) ([]Rung, error) {
	alarms, _ := p.o.Alarms()
	now := p.o.Clock()
	p.mu.Lock()
	if p.ever && now.Mono-p.rung < ringRest {
		p.mu.Unlock()
		return nil, fmt.Errorf("a test was sent a moment ago: wait %v", ringRest)
	}
	p.ever, p.rung = true, now.Mono
	m := p.book.SelfTest(now, alarms)
	p.mu.Unlock()
	return ring(ctx, p.outlets, &m), nil
}

func ring(ctx context.Context, outlets []*outlet, m *Message) []Rung {
	out := make([]Rung, len(outlets))
	var wait sync.WaitGroup
	for i, o := range outlets {
		out[i].Name = o.way.Name()
		wait.Add(1)
		go func() {
			defer wait.Done()
			if err := o.once(ctx, m); err != nil {
				out[i].Error = err.Error()
			}
		}()
	}
	wait.Wait()
	return out
}

// RingOnce sends a self-test by each way with no gateway running.
func RingOnce(ctx context.Context, site garden.Site, ways []Way, now garden.Moment) []Rung {
	b := NewBook(site, garden.DefaultCalling())
	m := b.SelfTest(now, nil)
	outlets := make([]*outlet, 0, len(ways))
	for _, w := range ways {
		outlets = append(outlets, newOutlet(w, nil, func() time.Time { return now.Wall }, func(string) {}))
	}
	return ring(ctx, outlets, &m)
}

// Left is what a Post that was closed leaves to the next in the same run: what it told,
// when, and how its ways had been doing.
type Left struct {
	told []byte
	sent []time.Duration
	ways []WayStatus
}

// Close ends it. What was not sent by then is told anew by the Post after it, in this
// run or the next, so that it may come twice and is not lost.
func (p *Post) Close() *Left {
	p.cancel()
	p.done.Wait()
	l := &Left{told: p.keep(p.o.Clock(), p.unsent()), ways: p.Ways()}
	p.mu.Lock()
	defer p.mu.Unlock()
	l.sent = p.book.sent
	return l
}

// Network opens the ways that need nothing but the network. What is wrong with one is an
// error beside the others.
func Network(set garden.Calling) (ways []Way, err error) {
	hosts := map[string]int{}
	for _, w := range set.Webhooks {
		way, bad := newWebhook(w)
		if bad != nil {
			err = errors.Join(err, bad)
			continue
		}
		hosts[way.host]++
		way.nth = hosts[way.host]
		ways = append(ways, way)
	}
	if set.Mail.Server != "" {
		way, bad := newMailbox(set.Mail)
		if bad != nil {
			return ways, errors.Join(err, bad)
		}
		ways = append(ways, way)
	}
	return ways, err
}

// Look tells what is wrong with the files that the ways need, before a message
// needs them. Paths are those of the garden file.
func Look(set garden.Calling) (out []garden.Problem) {
	say := func(path string, err error) {
		if err != nil {
			out = append(out, garden.Problem{Path: "alarms." + path, What: "no alarm goes this way until it is mended: " + err.Error()})
		}
	}
	for i, w := range set.Webhooks {
		at := fmt.Sprintf("webhooks.%d", i+1)
		if _, err := newWebhook(w); err != nil {
			say(at+".body-file", err)
		}
		for k, h := range w.Headers {
			if h.SecretFile != "" {
				_, err := readSecret(h.SecretFile, 1)
				say(fmt.Sprintf("%s.headers.%d.secret-file", at, k+1), err)
			}
		}
		_, err := trust("", w.CAFile)
		say(at+".ca-file", err)
	}
	if set.Mail.Server != "" {
		_, err := newMailbox(set.Mail)
		say("mail.server", err)
	}
	if f := set.Mail.PasswordFile; f != "" {
		_, err := readSecret(f, 2)
		say("mail.login-file", err)
	}
	_, err := trust("", set.Mail.CAFile)
	say("mail.ca-file", err)
	return out
}

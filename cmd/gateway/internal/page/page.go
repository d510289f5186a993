package page

import (
	"context"
	"embed"
	"errors"
	"io/fs"
	"net/http"
	"sync/atomic"
	"time"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/cmd/gateway/internal/report"
	"fabricpot/control/garden"
	"fabricpot/control/task"
)

//go:embed assets
var assets embed.FS

// History is what the page reads of the journal, and the notes it writes.
// *journal.Journal is one.
type History interface {
	ZoneCourse(z garden.ZoneID, from, to time.Time, points int) ([]journal.Point, error)
	Rain(from, to time.Time, parts int) ([]journal.RainSpan, error)
	Given(line garden.LineID, from, to time.Time, parts int) ([]journal.GivenSpan, error)
	GivenByHand(zone garden.ZoneID, from, to time.Time, parts int) ([]journal.GivenSpan, error)
	DecisionsOf(zone garden.ZoneID, since time.Time, most int) ([]journal.Decision, error)
	Feeds(zone garden.ZoneID, since time.Time) ([]journal.Feed, error)
	NotesOf(zone garden.ZoneID, since time.Time, most int) ([]journal.Note, error)
	AddNote(n journal.Note) error
	Path() string
}

// Rounds is the gardener's list of work. Its methods may be called from any
// goroutine.
type Rounds interface {
	// List returns the open tasks, the most pressing first.
	List(now time.Time) []task.Listed
	// Done ticks a task. It answers task.ErrAsk where it was ticked before and
	// the report does not say Again, and task.ErrUnknown for no such task.
	Done(ctx context.Context, id string, r task.Report) error
}

// Options are what a page is made of. Garden and Gateway must be given.
type Options struct {
	Garden  *garden.Garden
	Gateway Gateway
	// History is the journal; nil shows no past and keeps no notes.
	History History
	// Rounds adds the task list to the hand-tended pots; it may be nil.
	Rounds Rounds
	// NextFeed says in words when a zone is fed next; nil or an empty answer
	// leaves the line out.
	NextFeed func(garden.ZoneID) string
	// Plants takes what was done to the plants; nil shows no form for it.
	Plants Plants
	// Observer answers what a gardener sees on the plants; nil keeps notes
	// without an answer.
	Observer Observer
	// Acknowledge marks an alarm as seen by name and subject; nil shows no
	// button.
	Acknowledge func(ctx context.Context, name, about, who string) error
	// Rest takes an alarm out of service for a time, at most alarm.MostShelved, and puts it
	// back for 0; nil shows no buttons.
	Rest func(ctx context.Context, name, about string, long time.Duration, who string) error
	// ConfirmClock takes the word that the wall clock, which showed a time, is
	// right; nil asks nobody.
	ConfirmClock func(ctx context.Context, shown time.Time, who string) error
	// Disk is what is free and what there is where the journal is, bytes; nil
	// shows neither.
	Disk func() (free, total uint64, err error)
	// Broker says in words how the link to the broker stands; it may be nil.
	Broker func() string
	// Ways are how the ways by which alarms reach a person have been doing, each
	// with words for Health; nil where there are none.
	Ways func() []Way
	// Silent says why no way is used though the garden file names some, "" where that is
	// not so; nil is "".
	Silent func() string
	// Season is the season up to now as a report; nil offers none.
	Season func(now time.Time) (*report.Book, error)
	// Secrets are the password's and the guest's hashes; the zero value asks
	// nobody to sign in, which Listen allows on loopback alone.
	Secrets Secrets
	// Version is shown on the Health view.
	Version string
	// Now is the clock for sessions, forms and slow sign-ins; nil means the
	// system's.
	Now func() time.Time
}

// Page is the local web page: one http.Handler, safe for concurrent use.
type Page struct {
	o        Options
	mux      *http.ServeMux
	inner    http.Handler
	scale    scale
	zones    map[garden.ZoneID]zoneRef
	sessions *sessions
	slow     *throttle
	tickets  *tickets
	metrics  http.Handler
	streams  chan struct{}
	watch    watch
	scrapers *scrapers
	pasts    pasts
	// reading lets one report be made at a time.
	reading chan struct{}
	// next answers in this one's place; see Renew.
	next atomic.Pointer[Page]
}

// zoneRef is a zone with its pot and its line, which is nil where a person
// waters it.
type zoneRef struct {
	pot  *garden.Pot
	zone *garden.Zone
	line *garden.Line
}

// maxStreams bounds the live viewers; each costs a goroutine and a connection.
const maxStreams = 64

// New makes the page. It opens nothing and starts no goroutine.
func New(o Options) (*Page, error) {
	if o.Garden == nil || o.Gateway == nil {
		return nil, errors.New("page: a page needs a garden and a gateway")
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	p := &Page{
		o: o, scale: scaleOf(o.Garden), zones: map[garden.ZoneID]zoneRef{},
		sessions: newSessions(o.Now), slow: newThrottle(o.Now), tickets: newTickets(o.Now),
		streams: make(chan struct{}, maxStreams), scrapers: newScrapers(),
		pasts: pasts{of: map[pastKey]*keptPast{}}, reading: make(chan struct{}, 1),
	}
	p.watch.now = o.Now
	o.Garden.EachZone(func(pot *garden.Pot, z *garden.Zone) {
		ref := zoneRef{pot: pot, zone: z}
		if l, ok := o.Garden.Line(z.Line); ok && z.Line != "" {
			ref.line = l
		}
		p.zones[z.ID] = ref
	})
	p.metrics = p.newMetrics()
	if err := p.routes(); err != nil {
		return nil, err
	}
	return p, nil
}

// ServeHTTP answers one request.
func (p *Page) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	if n := p.next.Load(); n != nil {
		p = n
	}
	p.inner.ServeHTTP(w, r)
}

// view answers a request of a visitor who may make it.
type view func(w http.ResponseWriter, r *http.Request, v *visit)

func (p *Page) routes() error {
	files, err := fs.Sub(assets, "assets")
	if err != nil {
		return err
	}
	p.mux = http.NewServeMux()
	// The patterns carry no method: a wrong one gets a page with the way back,
	// not the mux's plain text.
	p.on("/{$}", p.terrace, nil)
	p.on("/pot/{zone}", p.pot, nil)
	p.on("/pot/{zone}/chart.svg", p.chart, nil)
	p.on("/pot/{zone}/water", p.waterPreview, p.water)
	p.on("/pot/{zone}/shut", nil, p.shut)
	p.on("/pot/{zone}/open", nil, p.openAgain)
	p.on("/pot/{zone}/note", nil, p.note)
	p.on("/pot/{zone}/gave", nil, p.gave)
	p.on("/pot/{zone}/plant", p.plantForm, p.plantDone)
	p.on("/rounds", p.rounds, nil)
	p.on("/rounds/done", nil, p.tick)
	p.on("/health", p.health, nil)
	p.on("/health/seen", nil, p.acknowledge)
	p.on("/health/rest", nil, p.rest)
	p.on("/health/automatic", nil, p.automatic)
	p.on("/health/clock", nil, p.confirmClock)
	p.on("/health/close", nil, p.closeAll)
	p.on("/season", p.season, nil)
	p.on("/live", p.live, nil)
	p.on("/metrics", func(w http.ResponseWriter, r *http.Request, _ *visit) { p.metrics.ServeHTTP(w, r) }, nil)
	p.on("/settings", nil, p.settings)
	p.on("/sign-in", p.signInPage, p.signIn)
	p.on("/sign-out", nil, p.signOut)
	p.mux.HandleFunc("/healthz", p.healthz)
	static := http.FileServerFS(files)
	p.mux.HandleFunc("GET /assets/", func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Cache-Control", "max-age=3600")
		http.StripPrefix("/assets/", static).ServeHTTP(w, r)
	})
	p.on("/", func(w http.ResponseWriter, r *http.Request, v *visit) {
		p.refuse(w, r, v, fault{http.StatusNotFound, tErrNoPage, tErrNoPageTx, "/", tBackTerrace})
	}, nil)
	cross := http.NewCrossOriginProtection()
	cross.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		p.refuse(w, r, p.stranger(r), fault{http.StatusForbidden, tErrCross, tErrCrossTx, "/", tBackTerrace})
	}))
	p.inner = p.harden(cross.Handler(p.mux))
	return nil
}

// on serves a pattern: get for reading, post for doing, either may be nil.
func (p *Page) on(pattern string, get, post view) {
	p.mux.HandleFunc(pattern, func(w http.ResponseWriter, r *http.Request) {
		v, ok := p.admit(w, r)
		if !ok {
			return
		}
		read := r.Method == http.MethodGet || r.Method == http.MethodHead
		switch {
		case read && get != nil:
			get(w, r, v)
		case r.Method == http.MethodPost && post != nil:
			p.act(w, r, v, post)
		case pattern == "/":
			get(w, r, v)
		default:
			takes := "GET"
			if get == nil {
				takes = "POST"
			} else if post != nil {
				takes = "GET, POST"
			}
			w.Header().Set("Allow", takes)
			p.refuse(w, r, v, fault{http.StatusMethodNotAllowed, tErrMethod, sprintf(tErrMethodTx, takes), "/", tBackTerrace})
		}
	})
}

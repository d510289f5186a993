package hub

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"net"
	"net/url"
	"strconv"
	"sync"
	"time"

	"fabricpot/control/garden"
	"fabricpot/mqtt"
	"fabricpot/mqtt/broker"
	"fabricpot/mqtt/command"
	"fabricpot/mqtt/probe"
	"fabricpot/mqtt/report"
	"fabricpot/mqtt/sky"
	"fabricpot/mqtt/topic"
	"fabricpot/mqtt/valve"
	"fabricpot/valves"
)

// Remote is everything of a garden that goes over a broker, assembled: the
// broker if it is the embedded one, the links, remote probes and valves, the
// weather, commands and hubs. Open makes it, Start sets it going, Close ends it.
type Remote struct {
	// Probes and Sky answer at any time; Valves are the lines' actuators.
	Probes *probe.Table
	Sky    *sky.Sky
	Valves map[garden.LineID]valves.Actuator

	tree      topic.Tree
	broker    *broker.Broker
	link      *mqtt.Link
	device    *mqtt.Link // Homie's; nil without
	homie     *Homie
	set       *valve.Set
	desk      *command.Desk
	publisher *Publisher
	clock     func() garden.Moment
	wishes    chan command.Wish
	log       *slog.Logger
	runs      []func(context.Context)

	mu     sync.Mutex // publisher
	cancel context.CancelFunc
	wg     sync.WaitGroup
}

// RemoteOptions are what the garden file does not say.
type RemoteOptions struct {
	// First is the snapshot hubs are described from.
	First *Snapshot
	// Memory is where what was published is remembered.
	Memory Memory
	// Clock gives the present moment.
	Clock func() garden.Moment
	// Log takes what a person may want to read later. Nil: nobody reads it.
	Log *slog.Logger
}

// Open assembles what g.Broker asks for and starts the embedded broker if it is
// that. left are parts that cannot work and were left out, with the reason; a
// nil Remote and a nil error mean that the garden has no broker.
func Open(g *garden.Garden, o RemoteOptions) (r *Remote, left []error, err error) {
	b := g.Broker
	if b.Discovery == garden.UsualRoot {
		b.Discovery = DefaultDiscovery
	}
	if b.Homie == garden.UsualRoot {
		b.Homie = DefaultHomie
	}
	if b.URL == "" {
		return nil, nil, nil
	}
	if o.First == nil || o.Clock == nil {
		return nil, nil, errors.New("hub: a first snapshot and a clock are needed")
	}
	r = &Remote{clock: o.Clock, log: o.Log, wishes: make(chan command.Wish, 64), Valves: make(map[garden.LineID]valves.Actuator)}
	if r.log == nil {
		r.log = slog.New(slog.DiscardHandler)
	}
	made := r
	defer func() {
		if err != nil && made.broker != nil {
			made.broker.Close()
		}
	}()
	if r.tree, err = topic.NewTree(b.Prefix, g.Site.ID); err != nil {
		return nil, nil, err
	}
	base, err := r.options(b, g)
	if err != nil {
		return nil, nil, err
	}
	if u, err := url.Parse(base.URL); err == nil && base.PasswordFile != "" && u.Scheme != "mqtts" && !loopback(u.Hostname()) {
		left = append(left, fmt.Errorf("broker %s: the password travels unprotected; use mqtts://", u.Host))
	}
	if err := r.connect(base, o); err != nil {
		return nil, nil, err
	}
	var errs []error
	r.Probes, errs = probe.NewTable(r.tree, g, probe.Options{})
	left = append(left, errs...)
	r.Sky, errs = sky.New(r.tree, b.Sky, g.Site.Zone)
	left = append(left, errs...)
	r.desk = command.NewDesk(r.tree, g)
	run := strconv.FormatUint(rand.Uint64(), 36)
	var vs []*valve.Valve
	for _, l := range g.Lines {
		if l.Valve.Kind != garden.RemoteValve {
			continue
		}
		v, err := valve.New(r.tree, l.ID, l.Valve, r.link, run, r.clock)
		if err != nil {
			left = append(left, err)
			r.Valves[l.ID] = valves.Unassigned{}
			continue
		}
		vs, r.Valves[l.ID] = append(vs, v), v
	}
	r.set = valve.NewSet(vs...)
	if b.Homie != "" {
		if err := r.openHomie(base, b.Homie, o); err != nil {
			return nil, nil, err
		}
	}
	po := Options{Tree: r.tree, Discovery: b.Discovery, Homie: r.homie, Memory: o.Memory, Jitter: func() time.Duration { return rand.N(10 * time.Second) }}
	if r.device != nil {
		po.HomieLink = r.device
	}
	if r.publisher, err = NewPublisher(r.link, po); err != nil {
		left = append(left, err)
	}
	return r, left, r.subscribe()
}

func loopback(host string) bool {
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

// options starts the embedded broker, if it is that, and says how to reach the
// broker.
func (r *Remote) options(b garden.Broker, g *garden.Garden) (mqtt.Options, error) {
	o := mqtt.Options{URL: b.URL, ClientID: b.ClientID, PasswordFile: b.PasswordFile, Clock: r.clock,
		TLS: mqtt.TLS{CAFile: b.CAFile, CertFile: b.CertFile, KeyFile: b.KeyFile, ServerName: b.ServerName}}
	if o.ClientID == "" {
		o.ClientID = "fabricpot-" + g.Site.ID
	}
	if b.URL != garden.EmbeddedBroker {
		return o, nil
	}
	bo := broker.Options{Listen: b.Listen, CertFile: b.CertFile, KeyFile: b.KeyFile, OwnOnly: valve.Commanded(r.tree, g.Lines), Log: slog.New(grave{r.log.Handler()})}
	for _, a := range b.Accounts {
		user, password, err := mqtt.ReadPassword(a.PasswordFile)
		if err != nil {
			return o, err
		}
		bo.Accounts = append(bo.Accounts, broker.Account{User: user, Password: password, Publish: a.Publish, Subscribe: a.Subscribe})
	}
	var err error
	if r.broker, err = broker.Start(bo); err != nil {
		return o, err
	}
	o.URL, o.Login, o.PasswordFile = local(r.broker), r.broker.Login, ""
	// Its certificate is ours; as a client we need none.
	o.TLS.CertFile, o.TLS.KeyFile = "", ""
	return o, nil
}

// grave lets only errors pass: the broker's warnings are of clients that came
// and went.
type grave struct{ slog.Handler }

// Enabled asks for errors alone.
func (g grave) Enabled(ctx context.Context, l slog.Level) bool {
	return l >= slog.LevelError && g.Handler.Enabled(ctx, l)
}

// WithAttrs keeps that for a derived handler.
func (g grave) WithAttrs(a []slog.Attr) slog.Handler { return grave{g.Handler.WithAttrs(a)} }

// WithGroup keeps that for a derived handler.
func (g grave) WithGroup(name string) slog.Handler { return grave{g.Handler.WithGroup(name)} }

// local is the address of the broker from this machine, also where it listens
// on every address.
func local(b *broker.Broker) string {
	u, err := url.Parse(b.URL())
	if err != nil {
		return b.URL()
	}
	if ip := net.ParseIP(u.Hostname()); ip != nil && ip.IsUnspecified() {
		u.Host = net.JoinHostPort("localhost", u.Port())
	}
	return u.String()
}

func (r *Remote) connect(base mqtt.Options, o RemoteOptions) error {
	gone, err := report.Offline(r.tree, o.First.Name, o.First.Version)
	if err != nil {
		return err
	}
	base.Will, base.Farewell = &gone, &gone
	r.link, err = mqtt.New(base)
	return err
}

func (r *Remote) openHomie(base mqtt.Options, root string, o RemoteOptions) (err error) {
	if r.homie, err = NewHomie(r.tree, root, o.First, r.clock().Wall.Unix()); err != nil {
		return err
	}
	will, bye := r.homie.Will(), r.homie.Farewell()
	base.ClientID += "-homie"
	base.Will, base.Farewell, base.Greeting = &will, &bye, r.homie.Greeting
	r.device, err = mqtt.New(base)
	return err
}

package hub

import (
	"errors"
	"maps"
	"slices"
	"time"

	"fabricpot/mqtt"
	"fabricpot/mqtt/report"
	"fabricpot/mqtt/topic"
)

// Poster takes latest values; a mqtt.Link is one.
type Poster interface{ Post(mqtt.Message) error }

// Options say how the garden is described.
type Options struct {
	Tree topic.Tree
	// Discovery is the discovery prefix; empty: no such document.
	Discovery string
	// Homie is the device, with HomieLink its own connection; nil: none.
	Homie     *Homie
	HomieLink Poster
	// Memory outlives the run.
	Memory Memory
	// Jitter returns the pause between a hub's birth and the document being
	// sent again, so that all devices of a house do not speak at once. Nil:
	// no pause.
	Jitter func() time.Duration
}

// Publisher posts what has changed and clears what has gone. One goroutine uses
// it.
type Publisher struct {
	o    Options
	link Poster
	said map[string]string // topic → last payload
	was  Published         // as remembered
	doc  mqtt.Message
	due  time.Duration // when to say the document again, 0: not
	// fresh is false until the first snapshot has settled what is left over.
	fresh bool
}

// NewPublisher returns a publisher on the link. A memory that cannot be read is
// reported, and the publisher works without it.
func NewPublisher(link Poster, o Options) (*Publisher, error) {
	p := &Publisher{o: o, link: link, said: make(map[string]string)}
	var err error
	if o.Memory != nil {
		p.was, err = o.Memory.Load()
	}
	return p, err
}

// Filters are the subscriptions a publisher needs: the birth of hubs.
func (p *Publisher) Filters() []string {
	if p.o.Discovery == "" {
		return nil
	}
	return []string{Birth(p.o.Discovery)}
}

// Take reads a message of Filters.
func (p *Publisher) Take(m mqtt.Message) {
	if p.o.Discovery == "" || m.Topic != Birth(p.o.Discovery) || string(m.Payload) != "online" {
		return
	}
	pause := time.Duration(0)
	if p.o.Jitter != nil {
		pause = max(0, p.o.Jitter())
	}
	if p.due == 0 { // births in a row are one
		p.due = max(1, m.At.Mono+pause)
	}
}

// Tick sends the document again when it is due; now is monotonic.
func (p *Publisher) Tick(now time.Duration) error {
	if p.due == 0 || now < p.due || p.doc.Topic == "" {
		return nil
	}
	p.due = 0
	return p.link.Post(p.doc)
}

// Publish posts what of the snapshot is new. What cannot be posted is tried
// again with the next snapshot.
func (p *Publisher) Publish(s *Snapshot) error {
	own, err := Own(p.o.Tree, s)
	if err != nil {
		return err
	}
	var errs []error
	now := make(map[string]bool)
	say := func(to Poster, m mqtt.Message) {
		if len(m.Payload) > 0 {
			now[m.Topic] = true
		} else if _, there := p.said[m.Topic]; !there && !slices.Contains(p.was.Topics, m.Topic) {
			return // nothing to take away
		}
		if old, there := p.said[m.Topic]; there && old == string(m.Payload) {
			return
		}
		if err := to.Post(m); err != nil {
			errs = append(errs, err)
			return
		}
		p.said[m.Topic] = string(m.Payload)
	}
	components := map[string]string{}
	if p.o.Discovery != "" {
		gone := maps.Clone(p.was.Components)
		doc, live, err := Discovery(p.o.Tree, p.o.Discovery, s, gone)
		if err != nil {
			return err
		}
		p.doc, components = doc, live
		// Named as gone for as long as somebody may have missed it.
		for k, v := range gone {
			if components[k] == "" {
				components[k] = v
			}
		}
		say(p.link, doc)
	}
	for _, m := range own {
		say(p.link, m)
	}
	if p.o.Homie != nil {
		p.o.Homie.Update(s)
		if d, err := p.o.Homie.description(s); err == nil {
			now[d.Topic], now[p.o.Homie.Will().Topic] = true, true // said by the greeting
		}
		for _, m := range p.o.Homie.Values(s) {
			say(p.o.HomieLink, m)
		}
	}
	p.clear(now, &errs)
	p.remember(now, components, &errs)
	return errors.Join(errs...)
}

// clear takes away what was retained, in this run or an earlier one, and is no
// longer said.
func (p *Publisher) clear(now map[string]bool, errs *[]error) {
	old := slices.Collect(maps.Keys(p.said))
	if !p.fresh {
		old = append(old, p.was.Topics...)
	}
	slices.Sort(old)
	for _, name := range slices.Compact(old) {
		if now[name] || p.said[name] == "" && p.fresh {
			continue
		}
		to := p.link
		if h := p.o.Homie; h != nil && len(name) > len(h.base) && name[:len(h.base)] == h.base {
			to = p.o.HomieLink
		}
		if err := to.Post(report.Gone(name)); err != nil {
			*errs = append(*errs, err)
			continue
		}
		delete(p.said, name)
	}
	p.fresh = true
}

func (p *Publisher) remember(now map[string]bool, components map[string]string, errs *[]error) {
	is := Published{Topics: slices.Sorted(maps.Keys(now)), Components: components}
	if p.o.Memory == nil || slices.Equal(is.Topics, p.was.Topics) && maps.Equal(is.Components, p.was.Components) {
		return
	}
	if err := p.o.Memory.Save(is); err != nil {
		*errs = append(*errs, err)
		return
	}
	p.was = is
}

package hub

import (
	"context"
	"errors"
	"time"

	"fabricpot/control/garden"
	"fabricpot/mqtt"
	"fabricpot/mqtt/command"
	"fabricpot/mqtt/report"
	"fabricpot/mqtt/topic"
	"fabricpot/mqtt/valve"
)

// subscribe declares every inbox and what reads it.
func (r *Remote) subscribe() error {
	to := func(l *mqtt.Link, filter string, qos byte, depth int, run func(context.Context, *mqtt.Inbox)) error {
		in, err := l.Subscribe(filter, qos, depth)
		if err == nil {
			r.runs = append(r.runs, func(ctx context.Context) { run(ctx, in) })
		}
		return err
	}
	for _, f := range r.Probes.Filters() {
		if err := to(r.link, f, 0, 1024, r.Probes.Run); err != nil {
			return err
		}
	}
	for _, f := range r.Sky.Filters() {
		if err := to(r.link, f, 0, 64, r.Sky.Run); err != nil {
			return err
		}
	}
	if err := to(r.link, r.desk.Filter(), 1, 64, each(r.order)); err != nil {
		return err
	}
	for _, f := range r.publisher.Filters() {
		if err := to(r.link, f, 1, 4, each(func(m mqtt.Message) { r.mu.Lock(); r.publisher.Take(m); r.mu.Unlock() })); err != nil {
			return err
		}
	}
	if r.device != nil {
		if err := to(r.device, r.homie.Filter(), 0, 64, each(r.pressed)); err != nil {
			return err
		}
	}
	boxes, err := r.set.Subscribe(r.link)
	for _, in := range boxes {
		r.runs = append(r.runs, func(ctx context.Context) { r.set.Run(ctx, in) })
	}
	r.runs = append(r.runs, r.set.Keep, r.keep)
	return err
}

func each(f func(mqtt.Message)) func(context.Context, *mqtt.Inbox) {
	return func(ctx context.Context, in *mqtt.Inbox) {
		for {
			select {
			case <-ctx.Done():
				return
			case m := <-in.C():
				f(m)
			}
		}
	}
}

// keep sends again what is due.
func (r *Remote) keep(ctx context.Context) {
	t := time.NewTicker(time.Second)
	defer t.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-t.C:
			r.mu.Lock()
			err := r.publisher.Tick(r.clock().Mono)
			r.mu.Unlock()
			if err != nil {
				r.log.Warn("hub: discovery document", "error", err)
			}
		}
	}
}

// answerFor is how long an answer or an event may wait to be written.
const answerFor = 10 * time.Second

// order takes a command and answers it.
func (r *Remote) order(m mqtt.Message) {
	w, ok, reply := r.desk.Take(m)
	if ok && !r.hand(w) {
		reply = command.Reply(r.tree, w.ID, false, "too much is waiting already")
	}
	// A retained command comes with the subscription, a moment before the link
	// counts as up.
	for try := 0; errors.Is(r.link.Send(reply, answerFor), mqtt.ErrOffline) && try < 10; try++ {
		time.Sleep(50 * time.Millisecond)
	}
}

// pressed takes a Homie command.
func (r *Remote) pressed(m mqtt.Message) {
	w, why := r.homie.Take(m)
	if why == "" && !r.hand(w) {
		why = "too much is waiting already"
	}
	if why != "" {
		r.log.Info("hub: command refused", "topic", m.Topic, "reason", why)
	}
}

func (r *Remote) hand(w command.Wish) bool {
	select {
	case r.wishes <- w:
		return true
	default:
		return false
	}
}

// Start connects, in the background.
func (r *Remote) Start(ctx context.Context) {
	run, cancel := context.WithCancel(ctx)
	r.cancel = cancel
	for _, f := range r.runs {
		r.wg.Go(func() { f(run) })
	}
	// The links outlive ctx, so that Close can still close valves and say
	// farewell.
	links := context.WithoutCancel(ctx)
	r.link.Start(links)
	if r.device != nil {
		r.device.Start(links)
	}
}

// Wishes are accepted commands, for whoever drives controller and guard. Where
// a wish is not ForController the runner obeys it itself.
func (r *Remote) Wishes() <-chan command.Wish { return r.wishes }

// Refuse answers a command a second time: what came of it was refused.
func (r *Remote) Refuse(w command.Wish, reason string) {
	_ = r.link.Send(command.Reply(r.tree, w.ID, false, reason), answerFor)
}

// Publish says what is new in the snapshot.
func (r *Remote) Publish(s *Snapshot) error {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.publisher.Publish(s)
}

// Delivered tells about a pulse that ended. It is an event: without a
// connection nobody hears it.
func (r *Remote) Delivered(d garden.Delivery) {
	if m, err := report.Happening(r.tree, topic.Delivery, report.DeliveryOf(d)); err == nil {
		_ = r.link.Send(m, answerFor)
	}
}

// Happened tells what happened to an alarm: raised, acknowledged or cleared.
func (r *Remote) Happened(event, alarm, text string) {
	if m, err := report.Happening(r.tree, topic.Event, report.Event{Event: event, Alarm: alarm, Text: text}); err == nil {
		_ = r.link.Send(m, answerFor)
	}
}

// Troubles are the remote valves with something wrong.
func (r *Remote) Troubles() map[garden.LineID]valve.Trouble { return r.set.Troubles() }

// Status is the link's; URL where other programs on this machine find the
// broker.
func (r *Remote) Status() mqtt.Status { return r.link.Status() }

// URL is the broker's address.
func (r *Remote) URL() string {
	if r.broker != nil {
		return local(r.broker)
	}
	return ""
}

// Close says farewell and ends everything, within about timeout each for the
// links. Close the lines first.
func (r *Remote) Close(timeout time.Duration) {
	if r.device != nil {
		r.device.Close(timeout)
	}
	r.link.Close(timeout)
	if r.cancel != nil {
		r.cancel()
		r.wg.Wait()
	}
	if r.broker != nil {
		r.broker.Close()
	}
}

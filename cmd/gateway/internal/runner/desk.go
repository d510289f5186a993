package runner

import (
	"context"
	"time"

	"fabricpot/cmd/gateway/internal/units"
	"fabricpot/control/garden"
)

// Desk is where page, hub and commands reach a running loop from. Its methods
// may be called from any goroutine.
type Desk struct {
	// Reads tells how the gardener reads, nil for litres and °C. Set it before the desk is
	// handed on.
	Reads func() units.Reads

	loop  *Loop
	inbox *Inbox
}

// NewDesk returns the desk of a loop whose owner serves inbox.
func NewDesk(l *Loop, in *Inbox) *Desk { return &Desk{loop: l, inbox: in} }

// Status returns the last published state, nil before the first tick.
func (d *Desk) Status() *Status { return d.loop.Status() }

// CloseAll closes every line, turns automatic control off, and waits until the
// closes are confirmed or patience ends.
func (d *Desk) CloseAll(ctx context.Context, who string) (CloseReport, error) {
	var rep CloseReport
	if err := d.inbox.Must(ctx, func(now garden.Moment) { rep = d.loop.CloseAll(now, who) }); err != nil {
		return CloseReport{}, err
	}
	wait := time.NewTicker(pulseCheck)
	defer wait.Stop()
	for end := time.After(closePatience); len(rep.Unconfirmed) > 0; {
		select {
		case <-wait.C:
			// The guard may be asked from anywhere.
			rep.Unconfirmed = d.loop.p.Guard.Unconfirmed()
			rep.Closed = rep.Lines - len(rep.Unconfirmed)
		case <-ctx.Done():
			return rep, nil
		case <-end:
			return rep, nil
		}
	}
	return rep, nil
}

// Automatic turns automatic control on or off.
func (d *Desk) Automatic(ctx context.Context, on bool, who string) error {
	kind := garden.AskAutoOff
	if on {
		kind = garden.AskAutoOn
	}
	return d.Ask(ctx, garden.Ask{Kind: kind, Who: who})
}

// Ask hands in a request for the next tick.
func (d *Desk) Ask(ctx context.Context, a garden.Ask) error {
	return d.inbox.Do(ctx, func(now garden.Moment) { d.loop.Ask(now, a) })
}

// KeepShut keeps a zone shut for a time from now on; it takes effect at once.
func (d *Desk) KeepShut(ctx context.Context, zone garden.ZoneID, span time.Duration, who string) error {
	return d.inbox.Do(ctx, func(now garden.Moment) {
		d.loop.Ask(now, garden.Ask{Kind: garden.AskShut, Zone: zone, Until: now.Add(span), Who: who})
	})
}

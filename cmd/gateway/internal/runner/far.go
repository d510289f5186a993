package runner

import (
	"context"
	"fmt"
	"slices"
	"sort"

	"fabricpot/control/alarm"
	"fabricpot/control/garden"
	"fabricpot/mqtt/valve"
	"fabricpot/valves"
)

// Far is what a loop has at the far end of a broker. Its methods return at once
// and may be called from the loop's goroutine while others talk to the network.
type Far interface {
	// Valve is a remote line's actuator.
	Valve(garden.LineID) valves.Actuator
	// Sampler joins remote probes to what wired makes of the wired ones. wired
	// gets the garden with the wired probes alone, and each one's number in
	// the whole garden's ProbeList.
	Sampler(g *garden.Garden, wired WiredSampler) (Sampler, error)
	// Sky adds the weather that arrives to another's.
	Sky(Sky) Sky
	// Worries are the conditions that hold now, for the alarm book.
	Worries() []Worry
}

// WiredSampler makes the sampler of wired probes.
type WiredSampler func(g *garden.Garden, numbers []int) (Sampler, error)

// Worry is a condition at the far end that a person should know of.
type Worry struct {
	Kind          alarm.Kind
	Subject, Text string
}

// FarWorries puts a link to a broker and the remote valves behind it into words;
// lastError may be empty.
func FarWorries(connected bool, lastError string, troubles map[garden.LineID]valve.Trouble) []Worry {
	var out []Worry
	if !connected {
		text := "no connection to the broker"
		if lastError != "" {
			text += ": " + lastError
		}
		out = append(out, Worry{Kind: alarm.LinkLost, Text: text})
	}
	for id, t := range troubles {
		kind := alarm.LineFaulted
		switch t {
		case valve.Offline:
			continue // one cause, one alarm: the link's
		case valve.NotClosing, valve.OpenUnasked:
			kind = alarm.NotClosed
		}
		out = append(out, Worry{Kind: kind, Subject: string(id), Text: fmt.Sprintf("remote valve %s", t)})
	}
	sort.Slice(out, func(i, j int) bool {
		if a, b := out[i].Kind, out[j].Kind; a != b {
			return a < b
		}
		return out[i].Subject < out[j].Subject
	})
	return out
}

// unheard leaves out the remote lines, whose answer to a close takes a moment;
// should it not come, the alarm book tells.
func (l *Loop) unheard(open []garden.LineID) []garden.LineID {
	var out []garden.LineID
	for _, id := range open {
		if ln, ok := l.p.Garden.Line(id); !ok || ln.Valve.Kind != garden.RemoteValve {
			out = append(out, id)
		}
	}
	return out
}

// Stop ends what is flowing to a zone, or everywhere where it is empty, and
// forgets what was asked for there and not given yet. It reports whether anything
// was flowing.
func (l *Loop) Stop(now garden.Moment, zone garden.ZoneID) bool {
	any := false
	l.p.Plan.Forget(l.p.State, now, zone)
	l.asks = slices.DeleteFunc(l.asks, func(a garden.Ask) bool {
		return a.Kind == garden.AskWater && (zone == "" || a.Zone == zone)
	})
	l.bare.wishes = slices.DeleteFunc(l.bare.wishes, func(w bareWish) bool { return zone == "" || w.Zone == zone })
	l.eachLine(zone, func(id garden.LineID) { any = l.stopLine(now, id) || any })
	l.refresh(now)
	return any
}

// StopLine ends what is flowing through a line.
func (l *Loop) StopLine(now garden.Moment, id garden.LineID) bool {
	defer l.refresh(now)
	return l.stopLine(now, id)
}

func (l *Loop) stopLine(now garden.Moment, id garden.LineID) bool {
	lines, _ := l.p.Guard.Snapshot(now)
	open := false
	for i := range lines {
		open = open || lines[i].Line == id && lines[i].Open
	}
	if d, ended := l.p.Guard.Stop(now, id); ended {
		l.keep([]garden.Delivery{d})
	}
	return open
}

// Stop ends what is flowing to a zone.
func (d *Desk) Stop(ctx context.Context, zone garden.ZoneID) (open bool, err error) {
	if err := d.inbox.Must(ctx, func(now garden.Moment) { open = d.loop.Stop(now, zone) }); err != nil {
		return false, err
	}
	return open, nil
}

// StopLine ends what is flowing through a line.
func (d *Desk) StopLine(ctx context.Context, line garden.LineID) (open bool, err error) {
	if err := d.inbox.Must(ctx, func(now garden.Moment) { open = d.loop.StopLine(now, line) }); err != nil {
		return false, err
	}
	return open, nil
}

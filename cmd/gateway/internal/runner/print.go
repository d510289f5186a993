package runner

import (
	"fmt"
	"io"
	"sync"

	"fabricpot/control"
	"fabricpot/control/alarm"
	"fabricpot/control/garden"
)

// Printer tells a terminal or a log, a line per event.
type Printer struct {
	mu sync.Mutex
	w  io.Writer
}

// NewPrinter returns a Teller that writes to w.
func NewPrinter(w io.Writer) *Printer { return &Printer{w: w} }

func (p *Printer) line(now garden.Moment, about string, format string, args ...any) {
	p.mu.Lock()
	defer p.mu.Unlock()
	// A terminal that went away must not stop the watering.
	_, _ = fmt.Fprintf(p.w, "%s  %-16s %s\n", now.Wall.Format("2006-01-02 15:04:05"), about, fmt.Sprintf(format, args...))
}

// Opened tells of an order that opened its line.
func (p *Printer) Opened(now garden.Moment, o garden.Order) {
	p.line(now, string(o.Zone), "opens %s for %.2f L: %s", o.Line, o.Litres, o.Why)
}

// Ended tells what a pulse came to.
func (p *Printer) Ended(d garden.Delivery) {
	how := "by flow and time"
	if d.Metered {
		how = "metered"
	}
	p.line(d.ClosedAt, string(d.Zone), "closed %s after %s: %.2f L %s, %s", d.Line, d.Open.Round(1e9), d.Litres, how, d.End)
}

// Refused tells of an order that opened nothing.
func (p *Printer) Refused(now garden.Moment, o garden.Order, r garden.Refusal) {
	p.line(now, string(o.Zone), "%s stays closed: %s (%.2f L wanted: %s)", o.Line, r.Cause, o.Litres, o.Why)
}

// Noticed tells what the controller noticed.
func (p *Printer) Noticed(e control.Event) {
	about := string(e.Zone)
	if about == "" {
		about = string(e.Line)
	}
	if about == "" {
		about = "everywhere"
	}
	p.line(e.At, about, "%s", e)
}

// Alarmed tells a step of an alarm's life.
func (p *Printer) Alarmed(c alarm.Change) { p.line(c.At, "alarm", "%s", c) }

// Failed tells of something that went wrong and did not stop the loop.
func (p *Printer) Failed(now garden.Moment, what string, err error) {
	p.line(now, "trouble", "could not %s: %v", what, err)
}

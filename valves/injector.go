package valves

import (
	"errors"
	"fmt"
)

// withInjector is a line's valve with the injector or dosing pump behind it.
type withInjector struct{ line, injector Actuator }

// WithInjector couples an injector or dosing pump to its line. It runs under
// the line's own grant, so no longer than the order's deadline, and never
// without water: it is engaged after the valve has opened, for feeds and for
// waterings with feed in them alone, and released before the valve closes; the
// guard releases it earlier where its own limit or a meter without flow says so. The line counts as
// closed only when both are.
//
// Keep feed out of drinking water: an air gap or the backflow device the local
// code asks for stands upstream of any injector.
func WithInjector(line, injector Actuator) Actuator { return &withInjector{line, injector} }

func (w *withInjector) within() Actuator { return w.line }

// Open opens the valve and, for a feed, engages the injector. Any other order
// waits until the injector is known to be released: salt in every watering
// would go unseen for weeks.
func (w *withInjector) Open(g Grant) error {
	if err := w.injector.Close(); err != nil {
		return fmt.Errorf("valves: release the injector of line %s: %w", g.Line(), err)
	}
	if err := w.line.Open(g); err != nil {
		return err
	}
	if !g.Doses() {
		return nil
	}
	if err := w.injector.Open(g); err != nil {
		return errors.Join(fmt.Errorf("valves: engage the injector of line %s: %w", g.Line(), err), w.Close())
	}
	return nil
}

// errInjector tells that an injector could not be released.
var errInjector = errors.New("valves: the injector is not confirmed released")

// StopDosing releases the injector and leaves the valve open.
func (w *withInjector) StopDosing() error {
	if err := w.injector.Close(); err != nil {
		return fmt.Errorf("%w: %w", errInjector, err)
	}
	if closed, known := w.injector.Closed(); !closed || !known {
		return errInjector
	}
	return nil
}

// Close releases the injector and closes the valve, whatever the first comes to.
func (w *withInjector) Close() error {
	err := w.injector.Close()
	return errors.Join(err, w.line.Close())
}

// Closed reports whether both are closed, and whether that is known of both.
func (w *withInjector) Closed() (closed, known bool) {
	c, k := w.line.Closed()
	ic, ik := w.injector.Closed()
	return c && ic, k && ik
}

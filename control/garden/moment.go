package garden

import "time"

// Moment is an instant as the gateway knows it. Decisions take it as a value,
// so the core never asks a clock.
type Moment struct {
	// Mono counts from an arbitrary origin that survives no restart and is
	// never stepped. Every deadline is measured on it.
	Mono time.Duration
	// Wall is civil time in the garden's time zone. It may jump.
	Wall time.Time
	// Synced tells that Wall was confirmed by a time source or the gardener.
	// Calendar rules (hours, feed days) wait for it; watering by probe or
	// balance does not.
	Synced bool
}

// Since returns the monotonic time from earlier to m, never negative.
func (m Moment) Since(earlier Moment) time.Duration {
	return max(0, m.Mono-earlier.Mono)
}

// Add returns the moment d later on both clocks.
func (m Moment) Add(d time.Duration) Moment {
	m.Mono += d
	m.Wall = m.Wall.Add(d)
	return m
}

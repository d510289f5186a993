package runner

import (
	"time"

	"fabricpot/control/garden"
	"fabricpot/sensors"
)

// ReadTimes keeps how long the last conversion of each wired input took. It
// belongs to the loop's goroutine.
type ReadTimes struct {
	now  func() time.Duration
	last map[garden.Input]time.Duration
}

// NewReadTimes measures with that clock.
func NewReadTimes(now func() time.Duration) *ReadTimes {
	return &ReadTimes{now: now, last: map[garden.Input]time.Duration{}}
}

// Wrap measures what open's readers do. On nil it returns open.
func (t *ReadTimes) Wrap(open func(garden.Input) (sensors.VoltReader, error)) func(garden.Input) (sensors.VoltReader, error) {
	if t == nil {
		return open
	}
	return func(in garden.Input) (sensors.VoltReader, error) {
		r, err := open(in)
		if err != nil {
			return nil, err
		}
		return &timedReader{t: t, r: r, in: in}, nil
	}
}

// of is how long an input's last conversion took; nil where none was made.
func (t *ReadTimes) of(in garden.Input) *float64 {
	if t == nil {
		return nil
	}
	d, ok := t.last[in]
	if !ok {
		return nil
	}
	return number(d.Seconds())
}

// ofChip is how long the slowest of a chip's channels took last; nil where none
// was read.
func (t *ReadTimes) ofChip(bus string, addr uint16) *float64 {
	if t == nil {
		return nil
	}
	var slowest *float64
	for in, d := range t.last {
		if in.Bus == bus && in.Addr == addr && (slowest == nil || d.Seconds() > *slowest) {
			slowest = number(d.Seconds())
		}
	}
	return slowest
}

// timedReader measures the conversions of one chip.
type timedReader struct {
	t  *ReadTimes
	r  sensors.VoltReader
	in garden.Input
}

// ReadVolts reads a channel and keeps how long that took, failed or not.
func (r *timedReader) ReadVolts(channel int) (garden.Volts, error) {
	begun := r.t.now()
	v, err := r.r.ReadVolts(channel)
	r.in.Channel = channel
	r.t.last[r.in] = r.t.now() - begun
	return v, err
}

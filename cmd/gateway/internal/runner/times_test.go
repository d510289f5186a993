package runner

import (
	"errors"
	"testing"
	"time"

	"fabricpot/control/garden"
	"fabricpot/sensors"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

type slowChip struct{ now *time.Duration }

func (c slowChip) ReadVolts(channel int) (garden.Volts, error) {
	*c.now += time.Duration(channel+1) * time.Millisecond
	if channel == 2 {
		return 0, errors.New("no answer")
	}
	return 1, nil
}

func TestReadTimesAreKeptPerInput(t *testing.T) {
	now := time.Hour
	times := NewReadTimes(func() time.Duration { return now })
	open := times.Wrap(func(garden.Input) (sensors.VoltReader, error) { return slowChip{&now}, nil })
	r, err := open(garden.Input{Addr: 0x48})
	require.NoError(t, err)
	for _, ch := range []int{0, 2} {
		_, _ = r.ReadVolts(ch)
	}
	require.NotNil(t, times.of(garden.Input{Addr: 0x48, Channel: 2}))
	assert.InDelta(t, 0.001, *times.of(garden.Input{Addr: 0x48}), 1e-12)
	assert.InDelta(t, 0.003, *times.of(garden.Input{Addr: 0x48, Channel: 2}), 1e-12, "a failed conversion took its time, too")
	assert.Nil(t, times.of(garden.Input{Addr: 0x48, Channel: 1}))
	var none *ReadTimes
	assert.Nil(t, none.of(garden.Input{}))
}

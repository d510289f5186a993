package main

import (
	"bytes"
	"context"
	"errors"
	"io"
	"testing"

	"fabricpot/cmd/gateway/internal/season"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestAFalseAlarmFails: a clean run that raised an alarm broke a promise as much as a
// flood does, whichever way it is printed, and a run that kept all did not.
func TestAFalseAlarmFails(t *testing.T) {
	loud := func() *season.Campaign {
		return &season.Campaign{Runs: 1, CleanDays: 2, FalseAlarms: map[string]int{"tank low": 1},
			False: []season.FalseAlarm{{Seed: 7, Days: 2, SeenAlarm: season.SeenAlarm{Name: "tank low", Text: "nearly empty"}}}}
	}
	for _, asJSON := range []bool{false, true} {
		var out bytes.Buffer
		err := tellFaults(streams{out: &out, err: io.Discard}, asJSON, loud())
		assert.ErrorIs(t, err, errFalseAlarm)
		assert.NotErrorIs(t, err, errPromise)
		var use wrongUse
		assert.False(t, errors.As(err, &use), "exit code 1, not that of a wrong command line")
		assert.Contains(t, out.String(), "tank low", "what it was is printed first")
	}
	both := loud()
	both.Failed = []season.Outcome{{Violations: []string{"a line was open"}}}
	err := tellFaults(streams{out: io.Discard, err: io.Discard}, false, both)
	assert.ErrorIs(t, err, errFalseAlarm)
	assert.ErrorIs(t, err, errPromise)
	assert.NoError(t, tellFaults(streams{out: io.Discard, err: io.Discard}, false, &season.Campaign{Runs: 1, CleanDays: 2}))

	code, out, errs := gateway(context.Background(), "simulate", "--faults", "--clean", "--days", "2", "--seeds", "1", "--seed", "31000")
	require.Equal(t, exitDone, code, errs)
	assert.Contains(t, out.String(), "false alarms in 2 clean days: 0.00")
	_, out, _ = gateway(context.Background(), "simulate", "--help")
	assert.Contains(t, out.String(), "(exit 1)")
}

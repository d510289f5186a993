package main

import (
	"context"
	"encoding/json"
	"net"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestRealTimeStaysReal: remote devices and other brokers know one speed.
func TestRealTimeStaysReal(t *testing.T) {
	for name, args := range map[string][]string{
		"remote devices": {"run", farFile(t, "embedded"), "--speed", "2"},
		"another broker": {"run", exampleAt(t, "url: mqtt://192.0.2.1"), "--speed", "2"},
	} {
		t.Run(name, func(t *testing.T) {
			code, _, said := gateway(context.Background(), args...)
			assert.Equal(t, exitWrongUse, code)
			assert.Contains(t, said.String(), "real time")
		})
	}
}

// TestNoBrokerNeeded: with a broker that can't be begun and with none at all the
// garden is watered all the same. (One that is away is package hub's to test.)
func TestNoBrokerNeeded(t *testing.T) {
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	t.Cleanup(func() { taken.Close() })
	for name, c := range map[string]struct {
		args []string
		says string
	}{
		"port taken":  {[]string{"--speed", "600", "--broker-listen", taken.Addr().String()}, "kept without it"},
		"none wanted": {[]string{farFile(t, "embedded"), "--speed", "600", "--no-broker"}, "virtual bench"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			r := start(t, c.args...)
			require.Eventually(t, func() bool { return strings.Contains(r.out.String(), " opens ") }, 60*time.Second, 50*time.Millisecond, "%s\n%s", r.errs, r.out)
			assert.Contains(t, r.errs.String(), c.says)
			assert.Equal(t, exitDone, r.end())
			assert.Contains(t, r.out.String(), "confirmed closed")
		})
	}
}

// TestSimulateOpensNoBroker, not even where remote devices are simulated: the
// broker's own port is watched meanwhile.
func TestSimulateOpensNoBroker(t *testing.T) {
	door, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer door.Close()
	knocked := make(chan struct{}, 1)
	go func() {
		if c, err := door.Accept(); err == nil {
			_ = c.Close()
			knocked <- struct{}{}
		}
	}()
	code, out, errs := gateway(context.Background(), "simulate", farFile(t, "mqtt://"+door.Addr().String()), "--from", "2026-07-01", "--to", "2026-07-03", "--json")
	require.Equal(t, exitDone, code, errs.String())
	var got struct {
		Zones []struct {
			Applied float64 `json:"applied_l"`
		}
	}
	require.NoError(t, json.Unmarshal([]byte(out.String()), &got))
	require.Len(t, got.Zones, 1)
	assert.Positive(t, got.Zones[0].Applied, "the bench plays the remote probe and valve")
	select {
	case <-knocked:
		t.Error("a simulation talked to the broker")
	default:
	}
}

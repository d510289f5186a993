package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"fabricpot/control/garden"
	"fabricpot/sim/bench"
	"fabricpot/testdata"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// gaugedFile is the synthetic hot garden with every gauge and a pump.
func gaugedFile(t *testing.T) string {
	t.Helper()
	const was = "supply:\n  flow: 60 L/h\n"
	require.Contains(t, string(testdata.Heatwave), was)
	src := strings.Replace(string(testdata.Heatwave), was, was+"  meter: 400 pulses/L\n  tank: 300 L\n  float: {}\n  pump: { pin: 26 }\n", 1) +
		"\nrain-gauge: { per-tip: 0.2 mm }\n"
	src = strings.Replace(src, "float: {}", "float: { debounce: 1 s }", 1)
	name := filepath.Join(t.TempDir(), "gauged.yaml")
	require.NoError(t, os.WriteFile(name, []byte(src), 0o600))
	return name
}

func TestHardwareShowsGauges(t *testing.T) {
	_, socket := example(t)
	u, err := understand([]string{gaugedFile(t)})
	require.NoError(t, err)
	st, err := openStand(streams{err: &output{}}, u, standFlags{socket: socket, seed: 1, startCM: 18})
	require.NoError(t, err)
	defer st.Close()
	var b bytes.Buffer
	assert.Empty(t, st.gaugeTable(&b))
	for _, want := range []string{"meter", "0.00 L so far", "rain gauge", "float", "water", "pump"} {
		assert.Contains(t, b.String(), want)
	}
	meter, _, float := st.bench.Contacts()
	meter.Fail(bench.ContactGone, 0)
	float.Fail(bench.ContactDead, 0)
	wrong := strings.Join(st.gaugeTable(&b), "\n")
	assert.Contains(t, wrong, "meter: bench: the input line is held by somebody else")
	assert.Contains(t, wrong, "float: empty, or its wire is broken")
	_, err = st.openFor(context.Background(), u.garden.Lines[0].ID, time.Minute)
	assert.ErrorContains(t, err, garden.TankEmpty.String())
}

func TestFlowByTheMeter(t *testing.T) {
	_, socket := example(t)
	file := gaugedFile(t)
	u, err := understand([]string{file})
	require.NoError(t, err)
	line := &u.garden.Lines[0]
	st, err := openStand(streams{err: &output{}}, u, standFlags{socket: socket, seed: 1, startCM: 18})
	require.NoError(t, err)
	out := &output{}
	f := flowFlags{minutes: 5}
	require.NoError(t, f.measureByMeter(context.Background(), streams{out: out, err: &output{}}, st, line))
	assert.Contains(t, out.String(), "by the meter")
	ran, dry, _ := st.bench.Terrace.PumpHours()
	assert.InDelta(t, 5.0/60, ran, 0.03)
	assert.Zero(t, dry)
	// Dead from here on: the pump runs no longer than it may without flow.
	meter, _, _ := st.bench.Contacts()
	meter.Fail(bench.ContactDead, 0)
	st.sleep(10 * time.Minute)
	assert.ErrorContains(t, f.measureByMeter(context.Background(), streams{out: out, err: &output{}}, st, line), "the meter counted nothing in 30")
	require.NoError(t, st.Close())
}

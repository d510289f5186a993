package main

import (
	"bytes"
	"context"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"fabricpot/sim/bench"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestHardwareOnTheBench(t *testing.T) {
	file, socket := example(t)
	code, out, errs := gateway(context.Background(), "hardware", file, "--socket", socket)
	require.Equal(t, exitDone, code, errs.String())
	for _, want := range []string{"0x48", "0x4a", "chilli-middle", "strawberries", "closed", "everything the garden file expects is there"} {
		assert.Contains(t, out.String(), want)
	}
	assert.NotContains(t, out.String(), "0x4b", "nothing answers there and nothing should")
}

// TestHardwareTellsFaults pulls a plug, shorts another and takes the bus away.
func TestHardwareTellsFaults(t *testing.T) {
	file, socket := example(t)
	u, err := understand([]string{file})
	require.NoError(t, err)
	st, err := openStand(streams{err: &output{}}, u, standFlags{socket: socket, seed: 1, startCM: 18})
	require.NoError(t, err)
	defer st.Close()
	pulled, _ := st.bench.Wires.Input("chilli-middle")
	pulled.Fail(bench.Open, 0)
	shorted, _ := st.bench.Wires.Input("chard-middle")
	shorted.Fail(bench.Short, 0)
	var b bytes.Buffer
	missing := strings.Join(st.report(&b), "\n")
	assert.Contains(t, missing, "probe chilli-middle: open")
	assert.Contains(t, missing, "probe chard-middle: short")
	assert.NotContains(t, missing, "aubergine")
	assert.Contains(t, b.String(), "missing or wrong:")
}

func TestHardwareWatch(t *testing.T) {
	file, socket := example(t)
	ctx, stop := context.WithCancel(context.Background())
	defer stop()
	out, errs, done := &output{}, &output{}, make(chan int, 1)
	go func() {
		done <- execute(ctx, streams{in: strings.NewReader(""), out: out, err: errs},
			[]string{"hardware", file, "--watch", "--every", "100ms", "--socket", socket})
	}()
	assert.Eventually(t, func() bool { return strings.Count(out.String(), "spread mV") >= 3 }, 20*time.Second, 10*time.Millisecond, errs)
	stop()
	assert.Equal(t, exitDone, <-done)
}

// A board that is not there: everything expected is named as missing, and the
// command fails.
func TestHardwareWithoutABoard(t *testing.T) {
	file, socket := boardGarden(t)
	code, out, errs := gateway(context.Background(), "hardware", file, "--socket", socket)
	assert.Equal(t, exitFailed, code)
	assert.Contains(t, errs.String(), "missing or wrong")
	assert.Contains(t, out.String(), "line chilli: ")
	assert.Contains(t, out.String(), "probe chilli-middle: ")
}

// TestReadThermometers: found as the driver finds them, and read as it reads them;
// what each answer means is proved there.
func TestReadThermometers(t *testing.T) {
	answer := func(t string) *fstest.MapFile {
		return &fstest.MapFile{Data: []byte("72 01 4b 46 7f ff 0e 10 57 : crc=57 YES\n72 01 4b 46 7f ff 0e 10 57 t=" + t + "\n")}
	}
	got := strings.Join(readThermometers(fstest.MapFS{
		"28-0316a2794bff/w1_slave": answer("21437"),
		"28-0316a2794c00/w1_slave": answer("85000"),
		"28-0316a2794c01/w1_slave": answer(""),
		"28-0316a2794c02/id":       {Data: []byte("x")},
		"w1_bus_master1/name":      {Data: []byte("w1_bus_master1\n")},
		"29-0316a2794bff/w1_slave": answer("20000"),
	}), "\n")
	assert.Contains(t, got, "28-0316a2794bff  21.4 °C")
	assert.Contains(t, got, "28-0316a2794c00: 85 °C is what it holds after power came on")
	assert.Contains(t, got, "28-0316a2794c01: temperature")
	assert.Contains(t, got, "28-0316a2794c02: open")
	assert.NotContains(t, got, "master")
	assert.NotContains(t, got, "29-", "no thermometer")
	assert.Empty(t, readThermometers(fstest.MapFS{}))
}

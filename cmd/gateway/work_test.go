package main

import (
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/task"
	"fabricpot/testdata"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// hungry is the example terrace with a first feed that is due at once.
func hungry(t *testing.T) string {
	t.Helper()
	src := string(testdata.Terrace)
	for _, s := range []string{"    starter: { nitrogen: 150 mg/L, phosphorus: 40 mg/L, potassium: 120 mg/L }\n", "    starter: { nitrogen: 220 mg/L, phosphorus: 70 mg/L, potassium: 190 mg/L }\n"} {
		require.Contains(t, src, s)
		src = strings.Replace(src, s, "", 1)
	}
	src = strings.Replace(src, "strength: 150 ppm, yield: 2 kg", "strength: 150 ppm, yield: 2 kg, every: 4 d", 1)
	file := filepath.Join(t.TempDir(), "terrace.yaml")
	require.NoError(t, os.WriteFile(file, []byte(src), 0o600))
	return file
}

// TestWorkThroughTheGatewayAndOnItsJournal: the list of a running gateway can be
// read and ticked, and what was ticked is still known when it has ended.
func TestWorkThroughTheGatewayAndOnItsJournal(t *testing.T) {
	dir := t.TempDir()
	socket, db, file := filepath.Join(dir, "s"), filepath.Join(dir, "journal.db"), hungry(t)
	ctx, stop := context.WithCancel(context.Background())
	defer stop()
	ended := make(chan int, 1)
	errs := &output{}
	go func() {
		ended <- execute(ctx, streams{in: strings.NewReader(""), out: &output{}, err: errs},
			[]string{"run", file, "--speed", "50000", "--socket", socket, "--journal", db, "--no-broker", "--no-page"})
	}()
	rounds := func(args ...string) (r runner.Rounds, said string) {
		code, out, err := gateway(context.Background(), append([]string{"rounds", file, "--json", "--socket", socket}, args...)...)
		if code == exitDone {
			require.NoError(t, json.Unmarshal([]byte(out.String()), &r))
		}
		return r, err.String()
	}
	var round *task.Listed
	require.Eventually(t, func() bool {
		r, _ := rounds()
		for i := range r.Tasks {
			if r.Tasks[i].Kind == task.Round {
				round = &r.Tasks[i]
			}
		}
		return round != nil
	}, 30*time.Second, 50*time.Millisecond, "no round was opened: %s", errs)

	code, out, said := gateway(context.Background(), "rounds", "--socket", socket)
	require.Equal(t, exitDone, code, said.String())
	for _, want := range []string{"name: " + round.ID, "by", "line aubergine", "Stock for the injector of line aubergine (1:100)", "gloves and eye protection",
		"out of the reach of children", "air gap", "label first"} {
		assert.Contains(t, out.String(), want)
	}
	assert.Contains(t, said.String(), "through the running gateway")
	for _, want := range []string{"Salts that cost harvest, in the pot's water\n", "\ntrough-bean      ", " mS/cm; washed out from 2.6 on (8 % of the bush bean harvest)"} {
		assert.Contains(t, out.String(), want)
	}
	if now, _ := rounds(); assert.Len(t, now.TapSalts, 6) {
		assert.Positive(t, now.TapSalts[0].MS)
	}

	code, out, said = gateway(context.Background(), "done", round.ID, "--note", "all looked well", "--socket", socket)
	require.Equal(t, exitDone, code, said.String())
	assert.Contains(t, out.String(), round.ID+": done")
	code, _, said = gateway(context.Background(), "done", round.ID, "--socket", socket)
	require.Equal(t, exitFailed, code)
	assert.Contains(t, said.String(), "already done")
	assert.Contains(t, said.String(), "--again")

	code, out, said = gateway(context.Background(), "note", "chilli", "pale-lower-leaves", "since", "Sunday", "--socket", socket)
	require.Equal(t, exitDone, code, said.String())
	for _, want := range []string{"Likely causes", "short of nitrogen", "check:", "source:", "Leave alone:", "Look again between", "not a diagnosis"} {
		assert.Contains(t, out.String(), want)
	}
	looks := func(args ...string) (name string) {
		r, _ := rounds(args...)
		for _, x := range r.Tasks {
			if x.Kind == task.Look && strings.Contains(x.ID, "pale-lower-leaves") {
				name = x.ID
			}
		}
		return name
	}
	code, _, said = gateway(context.Background(), "done", looks(), "--litres", "400", "--socket", socket)
	require.Equal(t, exitFailed, code)
	assert.Contains(t, said.String(), "400 L for ")
	code, _, said = gateway(context.Background(), "note", "chili", "limp", "--socket", socket)
	require.Equal(t, exitFailed, code)
	assert.Contains(t, said.String(), "pots are aubergine, trough-cucumber,")
	code, _, said = gateway(context.Background(), "note", "aubergine", "--drain-ec", "3.1", "--socket", socket)
	require.Equal(t, exitDone, code, said.String())

	stop()
	select {
	case code := <-ended:
		require.Equal(t, exitDone, code, errs.String())
	case <-time.After(20 * time.Second):
		t.Fatal("the gateway did not stop")
	}

	r, told := rounds("--journal", db)
	assert.Empty(t, r.TapSalts, "only a running gateway knows them")
	assert.Contains(t, told, "no gateway is running: on its journal "+db)
	look := ""
	for _, x := range r.Tasks {
		assert.NotEqual(t, round.ID, x.ID, "what was done is not open")
		if x.Kind == task.Look && strings.Contains(x.ID, "pale-lower-leaves") {
			look = x.ID
			assert.Contains(t, x.Seen, "since Sunday")
		}
	}
	require.NotEmpty(t, look)
	code, _, said = gateway(context.Background(), "done", round.ID, "--socket", socket, "--garden", file, "--journal", db)
	require.Equal(t, exitFailed, code)
	assert.Contains(t, said.String(), "already done")
	assert.Contains(t, said.String(), "--again")
	code, _, said = gateway(context.Background(), "done", look, "--litres", "400", "--socket", socket, "--garden", file, "--journal", db)
	require.Equal(t, exitFailed, code)
	assert.Contains(t, said.String(), "400 L for ")
	require.Equal(t, look, looks("--journal", db), "it stays open")
	code, out, said = gateway(context.Background(), "done", look, "--litres", "0.5 gal", "--socket", socket, "--garden", file, "--journal", db)
	require.Equal(t, exitDone, code, said.String())
	assert.Contains(t, out.String(), look+": done, 1.893 L")
	r, _ = rounds("--journal", db)
	for _, x := range r.Tasks {
		assert.NotEqual(t, look, x.ID)
	}
	code, _, said = gateway(context.Background(), "note", "chilli", "limp", "--socket", socket, "--garden", file, "--journal", db)
	require.Equal(t, exitDone, code, said.String())
}

func TestWorkRefusesWhatItCantMean(t *testing.T) {
	dir := t.TempDir()
	file := hungry(t)
	nobody := []string{"--socket", filepath.Join(dir, "s")}
	for name, c := range map[string]struct {
		args []string
		code int
		says string
	}{
		"no gateway, no file":   {[]string{"rounds"}, exitFailed, "name the garden file"},
		"no journal":            {[]string{"rounds", file, "--journal", filepath.Join(dir, "none.db")}, exitFailed, "no journal at"},
		"a bench keeps none":    {[]string{"rounds", file}, exitFailed, "--journal"},
		"no task":               {[]string{"done"}, exitWrongUse, "accepts 1 arg(s), received 0: expected gateway done TASK"},
		"negative litres":       {[]string{"done", "x", "--litres", "-1"}, exitWrongUse, "--litres"},
		"litres of words":       {[]string{"done", "x", "--litres", "some"}, exitWrongUse, "--litres"},
		"dropped and done":      {[]string{"done", "x", "--drop", "rain", "--again"}, exitWrongUse, "--drop"},
		"dropped for nothing":   {[]string{"done", "x", "--drop", " "}, exitWrongUse, "--drop is empty"},
		"no sign":               {[]string{"note", "chilli"}, exitWrongUse, "no sign"},
		"a sign that is none":   {[]string{"note", "chilli", "pale-leaves"}, exitWrongUse, "did you mean"},
		"drainage out of range": {[]string{"note", "chilli", "--drain-ec", "300", "--garden", file, "--journal", filepath.Join(dir, "none.db")}, exitFailed, "no journal"},
	} {
		t.Run(name, func(t *testing.T) {
			code, _, err := gateway(context.Background(), append(c.args, nobody...)...)
			assert.Equal(t, c.code, code, err.String())
			assert.Contains(t, err.String(), c.says)
		})
	}
}

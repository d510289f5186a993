package main

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// output collects what a command prints; a running gateway prints from several
// goroutines.
type output struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (o *output) Write(p []byte) (int, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.b.Write(p)
}

func (o *output) String() string {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.b.String()
}

// gateway runs one command line.
func gateway(ctx context.Context, args ...string) (code int, out, err *output) {
	out, err = &output{}, &output{}
	code = execute(ctx, streams{in: strings.NewReader(""), out: out, err: err}, args)
	return code, out, err
}

func TestExitCodes(t *testing.T) {
	bad := filepath.Join(t.TempDir(), "bad.yaml")
	require.NoError(t, os.WriteFile(bad, []byte("site:\n  nam: x\n"), 0o600))
	for name, c := range map[string]struct {
		args []string
		code int
		says string
	}{
		"help":                  {[]string{"--help"}, exitDone, ""},
		"check of the example":  {[]string{"check"}, exitDone, ""},
		"unknown command":       {[]string{"irigate"}, exitWrongUse, "irigate"},
		"unknown flag":          {[]string{"simulate", "--wether", "x"}, exitWrongUse, "--wether"},
		"too many files":        {[]string{"check", "a", "b"}, exitWrongUse, "at most 1"},
		"no such file":          {[]string{"check", "nothere.yaml"}, exitFailed, "nothere.yaml"},
		"faulty file":           {[]string{"check", bad}, exitFailed, "bad.yaml:2:3"},
		"impossible date":       {[]string{"simulate", "--from", "2014-02-31"}, exitWrongUse, "--from"},
		"dates the wrong way":   {[]string{"simulate", "--from", "2014-06-02", "--to", "2014-06-01"}, exitWrongUse, "before"},
		"clean without faults":  {[]string{"simulate", "--clean"}, exitWrongUse, "--clean belongs to --faults: add that"},
		"seeds without faults":  {[]string{"simulate", "--seeds", "10"}, exitWrongUse, "--seeds belongs to --faults: add that, or choose one season by --seed"},
		"days without faults":   {[]string{"simulate", "--days", "30"}, exitWrongUse, "--from and --to"},
		"days of a campaign":    {[]string{"simulate", "--faults", "--days", "30"}, exitWrongUse, "--days belongs to --faults --clean"},
		"report of a campaign":  {[]string{"simulate", "--faults", "--report", "r.html"}, exitWrongUse, "and --report"},
		"speed out of range":    {[]string{"run", "--speed", "0"}, exitWrongUse, "--speed"},
		"speed is not a number": {[]string{"run", "--speed", "NaN"}, exitWrongUse, "--speed"},
		"nobody to close":       {[]string{"close-all", "--socket", filepath.Join(t.TempDir(), "s")}, exitFailed, "no gateway is running"},
		"no whole number":       {[]string{"backup", "--keep", "many", "b.db"}, exitWrongUse, `--keep "many": expected a whole number` + "\n"},
		"no time":               {[]string{"reload", "--wait", "5"}, exitWrongUse, "expected a time such as 90s"},
		"an empty argument":     {[]string{"backup", ""}, exitWrongUse, "argument 1 is empty: expected gateway backup FILE|FOLDER"},
		"a file of nothing":     {[]string{"check", ""}, exitWrongUse, "argument 1 is empty"},
		"hardware of a bundle":  {[]string{"doctor", "--hardware", "plank"}, exitWrongUse, `--hardware "plank": expected bench or board`},
		"automatic what":        {[]string{"automatic", "maybe"}, exitWrongUse, "maybe"},
	} {
		t.Run(name, func(t *testing.T) {
			code, _, err := gateway(context.Background(), c.args...)
			assert.Equal(t, c.code, code, err.String())
			assert.Contains(t, err.String(), c.says)
		})
	}
}

func TestCheckSaysWhatItUnderstood(t *testing.T) {
	code, out, _ := gateway(context.Background(), "check")
	require.Equal(t, exitDone, code)
	for _, want := range []string{"aubergine", "trough-cucumber", "trough-bean", "strawberry-east", "by hand", "capacity %", "refill %", "pulse min"} {
		assert.Contains(t, out.String(), want)
	}
	// What stands in columns is of no use where a narrow terminal breaks it.
	tables, _, _ := strings.Cut(out.String(), "salts that cost harvest")
	_, weather, _ := strings.Cut(out.String(), "weather known")
	require.NotEmpty(t, weather)
	for _, line := range strings.Split(tables+weather, "\n") {
		assert.LessOrEqual(t, len(line), 80, line)
	}
}

// TestSimulateJSON holds the object to the names the README promises.
func TestSimulateJSON(t *testing.T) {
	code, out, errs := gateway(context.Background(), "simulate", "--from", "2026-07-01", "--to", "2026-07-03", "--seed", "5", "--json")
	require.Equal(t, exitDone, code, errs.String())
	var got map[string]any
	require.NoError(t, json.Unmarshal([]byte(out.String()), &got), "figures alone go to standard output")
	assert.Equal(t, 3.0, got["days"], "--to is included")
	assert.Equal(t, 5.0, got["seed"])
	assert.Greater(t, got["speed"], 1.0)
	assert.Less(t, got["mass_balance_error_l"], 1e-6)
	zones := got["zones"].([]any)
	require.Len(t, zones, 7)
	keys := []string{"name", "applied_l", "drained_l", "transpired_l", "evaporated_l", "rain_l", "stored_change_l",
		"drained_irrigation_l", "hand_tended", "potential_transpiration_l", "hours_below_refill", "hours_stressed",
		"hours_saturated", "pulses", "feeds", "n_starter_g", "n_applied_g", "n_used_g", "n_wanted_g", "n_leached_g", "n_pool_g",
		"n_mg_l_least", "n_mg_l_most"}
	for _, z := range zones {
		zone := z.(map[string]any)
		assert.Len(t, zone, len(keys))
		for _, k := range keys {
			assert.Contains(t, zone, k)
		}
		assert.GreaterOrEqual(t, zone["drained_l"], 0.0)
	}
}

// TestRunOnTheBench starts the whole gateway, watches it water, closes all
// through the socket, and stops it.
func TestRunOnTheBench(t *testing.T) {
	socket := filepath.Join(t.TempDir(), "s")
	db := filepath.Join(t.TempDir(), "journal.db")
	ctx, stop := context.WithCancel(context.Background())
	defer stop()
	type end struct {
		code     int
		out, err *output
	}
	out, errs := &output{}, &output{}
	done := make(chan end, 1)
	go func() {
		code := execute(ctx, streams{in: strings.NewReader(""), out: out, err: errs},
			[]string{"run", "--speed", "20000", "--socket", socket, "--journal", db, "--broker-listen", "127.0.0.1:0", "--listen", "127.0.0.1:0"})
		done <- end{code, out, errs}
	}()
	require.Eventually(t, func() bool { return strings.Contains(out.String(), "closed ") }, 30*time.Second, 20*time.Millisecond,
		"no line was opened and closed: %s", errs)

	// A second one must not share the terrace.
	code, _, second := gateway(context.Background(), "run", "--socket", socket)
	assert.Equal(t, exitFailed, code)
	assert.Contains(t, second.String(), "another gateway")
	sameJournal := []string{"run", "--socket", socket + "2", "--journal", db, "--no-broker", "--no-page"}
	code, _, second = gateway(context.Background(), sameJournal...)
	assert.Equal(t, exitFailed, code)
	assert.Contains(t, second.String(), "another gateway keeps it")

	code, closed, said := gateway(context.Background(), "close-all", "--socket", socket)
	require.Equal(t, exitDone, code, said.String())
	assert.Contains(t, closed.String(), "5 of 5 lines confirmed closed")
	assert.Contains(t, said.String(), "through the running gateway")
	code, _, said = gateway(context.Background(), "automatic", "on", "--socket", socket)
	require.Equal(t, exitDone, code, said.String())

	stop()
	select {
	case e := <-done:
		assert.Equal(t, exitDone, e.code, e.err.String())
		assert.Contains(t, e.out.String(), "5 of 5 lines confirmed closed")
		assert.Contains(t, e.err.String(), "journal: "+db)
	case <-time.After(20 * time.Second):
		t.Fatal("the gateway did not stop")
	}
	info, err := os.Stat(db)
	require.NoError(t, err)
	assert.EqualValues(t, 0o600, info.Mode().Perm(), "the journal is its owner's alone")

	// Notes alone are a past too, and perhaps a real garden's.
	noted := filepath.Join(t.TempDir(), "noted.db")
	j, _, err := journal.Open(noted)
	require.NoError(t, err)
	require.NoError(t, j.AddNote(journal.Note{At: garden.Moment{Wall: time.Now()}, Zone: "chilli", Kind: "seen", Text: "wilted"}))
	require.NoError(t, j.Close())
	code, _, second = gateway(context.Background(), "run", "--socket", socket+"2", "--journal", noted, "--no-broker", "--no-page")
	assert.Equal(t, exitFailed, code)
	assert.Contains(t, second.String(), noted+": it has a past")

	// A bench that begins in the same July again would give the same orders' numbers.
	code, _, second = gateway(context.Background(), sameJournal...)
	assert.Equal(t, exitFailed, code)
	assert.Contains(t, second.String(), db+": it has a past")
}

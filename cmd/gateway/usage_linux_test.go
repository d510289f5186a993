package main

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"fabricpot/testdata"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestWrongUseInWords: what can't be meant is wrong use, and says what was expected.
func TestWrongUseInWords(t *testing.T) {
	none := filepath.Join(t.TempDir(), "none.yaml")
	for name, c := range map[string]struct {
		args []string
		code int
		says string
	}{
		"no socket":          {[]string{"run", "--socket", ""}, exitWrongUse, "--socket is empty: expected"},
		"no socket of a sub": {[]string{"alarms", "seen", "x", "--socket", ""}, exitWrongUse, "--socket is empty: expected"},
		"help for nothing":   {[]string{"help", "nosuch"}, exitWrongUse, `unknown command "nosuch"`},
		"half on":            {[]string{"automatic", "maybe"}, exitWrongUse, `"maybe": expected on or off`},
		"no file":            {[]string{"check", none}, exitFailed, none + ": no such file or directory; look at its name"},
		"no time":            {[]string{"alarms", "rest", "tank low", "--for", "3y"}, exitWrongUse, "expected a time such as 90s, 15m or 3d"},
		"too long a time":    {[]string{"alarms", "rest", "tank low", "--for", "99999999999d"}, exitWrongUse, "expected a time such as"},
		"too long a step":    {[]string{"export", "--every", "32d"}, exitWrongUse, "expected 15m to 31d"},
	} {
		t.Run(name, func(t *testing.T) {
			code, _, errs := gateway(context.Background(), c.args...)
			assert.Equal(t, c.code, code)
			assert.Contains(t, errs.String(), c.says)
		})
	}
	code, out, _ := gateway(context.Background(), "help", "alarms", "rest")
	assert.Equal(t, exitDone, code)
	assert.Contains(t, out.String(), "rest takes an alarm out of service")
}

// TestSpanFlag reads times as Go writes them and as garden files do.
func TestSpanFlag(t *testing.T) {
	for text, want := range map[string]time.Duration{
		"0": 0, "90s": 90 * time.Second, "1h30m": 90 * time.Minute, "3d": 72 * time.Hour, "1.5 d": 36 * time.Hour, "15 min": 15 * time.Minute, "-2h": -2 * time.Hour,
	} {
		var d time.Duration
		require.NoError(t, (*spanFlag)(&d).Set(text), text)
		assert.Equal(t, want, d, text)
	}
}

// TestAnswerThatIsNotWhole: an answer that could not be written is a failure, see full(4).
func TestAnswerThatIsNotWhole(t *testing.T) {
	full, err := os.OpenFile("/dev/full", os.O_WRONLY, 0)
	require.NoError(t, err)
	defer full.Close()
	for _, args := range [][]string{{"--help"}, {"calc", "capacity", "--help"}, {"schema"}} {
		errs := &output{}
		assert.Equal(t, exitFailed, execute(context.Background(), streams{out: full, err: errs}, args), args)
		assert.Contains(t, errs.String(), "no space left on device")
	}
}

// TestHoursTooShort: a line whose day is too short may have a longer one as well as
// bigger emitters.
func TestHoursTooShort(t *testing.T) {
	src := strings.Replace(string(testdata.Terrace), "    - 04:30-11:00\n    - 16:00-23:30\n", "    - 06:00-06:10\n", 1)
	require.Contains(t, src, "06:10")
	file := filepath.Join(t.TempDir(), "terrace.yaml")
	require.NoError(t, os.WriteFile(file, []byte(src), 0o600))
	_, _, errs := gateway(context.Background(), "check", file)
	assert.Contains(t, errs.String(), "allowed for 0.2 h: longer hours of the supply, or more or bigger emitters")
	assert.Contains(t, errs.String(), "allowed for 0.2 h: longer hours, or a supply that carries more")
}

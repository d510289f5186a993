package weather

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestReadDaysTakesDaysAndHours(t *testing.T) {
	var hours strings.Builder
	hours.WriteString("# invented\ntime,temp,rh,wind,solar,precipitation\n")
	for h := range 48 {
		at := time.Date(2026, 7, 1, h, 0, 0, 0, time.UTC)
		fmt.Fprintf(&hours, "%s,%d,50,2,1,0.5\n", at.Format("2006-01-02 15:04"), 10+h%24)
	}
	rows, _, err := ReadDays(strings.NewReader(hours.String()), "hours.csv", time.UTC)
	require.NoError(t, err)
	require.Len(t, rows, 2)
	assert.Equal(t, 10.0, rows[1].TMinC.Value)
	assert.Equal(t, 33.0, rows[1].TMaxC.Value)
	assert.InDelta(t, 12, rows[1].RainMM.Value, 1e-9)
	assert.InDelta(t, 24, rows[1].SolarMJ.Value, 1e-9)

	rows, _, err = ReadDays(strings.NewReader("date,precipitation,temp_max,temp_min,wind\n2026-07-01,1,30,18,2\n"), "days.csv", time.UTC)
	require.NoError(t, err)
	require.Len(t, rows, 1)
	assert.Equal(t, 30.0, rows[0].TMaxC.Value)

	for name, src := range map[string]string{"empty": "", "neither": "when,temp\n1,2\n", "hours with a gap": "time,temp\n2026-07-01 00:00,1\n2026-07-01 05:00,2\n"} {
		_, _, err := ReadDays(strings.NewReader(src), "bad.csv", time.UTC)
		require.Error(t, err, name)
		assert.Contains(t, err.Error(), "bad.csv", name)
	}
}

package alarm

import (
	"fmt"
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestTableInTheHandbook holds the table for people against the kinds.
func TestTableInTheHandbook(t *testing.T) {
	text, err := os.ReadFile("../../DEVELOPERS.md")
	require.NoError(t, err)
	words := func(d time.Duration) string {
		switch {
		case d == 0:
			return "at once"
		case d < time.Minute:
			return fmt.Sprintf("%.0f s", d.Seconds())
		case d < time.Hour:
			return fmt.Sprintf("%.0f min", d.Minutes())
		}
		return fmt.Sprintf("%.0f h", d.Hours())
	}
	for _, k := range Kinds() {
		on, off := k.Delays()
		band, of := k.Band()
		width := "—"
		switch {
		case of == "of the tank":
			width = fmt.Sprintf("%g %% of the tank", 100*band)
		case band > 0:
			width = fmt.Sprintf("%g %s", band, of)
		}
		name := k.String()
		if k.Serious() {
			name = "**" + name + "**"
		}
		row := fmt.Sprintf("| %s | %s | %s | %s | %s |\n", name, words(on), words(off), width, k.Next())
		assert.Contains(t, string(text), row)
	}
}

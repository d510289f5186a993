package main

import (
	"encoding/json"
	"fmt"
	"io"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"
)

// newCalc is the family of calculators: one figure at a time, worked as a
// handbook works it, so that what the gateway shows can be checked by hand.
func newCalc(s streams) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "calc",
		Short: "Work out one figure: weather, water, feed, probe, hose",
		Long: `calc works out the figures behind the gateway one at a time, the way a handbook
does, so that you can check them with a pencil. It needs no garden file and no
hardware. Every calculator tells the formula it uses and where that is from.

Numbers are plain: the unit of each is in its help. Longitudes east of Greenwich
are positive and latitudes north of the equator; wind is in m/s, radiation in
MJ/m² a day or an hour, temperature in °C, water in fractions of volume.`,
		Example: `  gateway calc eto --lat 45.72 --elev 200 --day-of-year 196 --tmin 14.8 --tmax 26.6
  gateway calc need --crop tomato --days-after-planting 90 --eto 6 --canopy 0.8
  gateway calc feed --label 20-10-20 --n-ppm 150 --litres 20`,
		Args: usage(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	cmd.PersistentFlags().Bool("json", false, "print one JSON object in place of the table")
	cmd.AddCommand(calcETo(s), calcCapacity(s), calcNeed(s), calcFeed(s), calcProbe(s), calcUniformity(s), calcPipe(s))
	return cmd
}

// answer is what a calculator found, ready for either way of printing.
type answer struct {
	// figures is the JSON object.
	figures any
	// table is the same for people.
	table []row
	// notes say what was assumed or is odd; cautions keep somebody from harm.
	notes, cautions []string
}

// row is one line of the table for people.
type row struct{ what, value, unit, remark string }

// fig is a row with a number of so many decimals.
func fig(what string, v float64, decimals int, unit, remark string) row {
	return row{what, fmt.Sprintf("%.*f", decimals, v), unit, remark}
}

// word is a row with a word for a value.
func word(what, value string) row { return row{what: what, remark: value} }

// reply prints an answer. In a table notes go to err, so that out holds figures
// alone; JSON carries them inside. Cautions go to err either way.
func reply(s streams, cmd *cobra.Command, a answer) error {
	asJSON, err := cmd.Flags().GetBool("json")
	if err != nil {
		return err
	}
	for _, c := range a.cautions {
		fmt.Fprintln(s.err, "caution:", c)
	}
	if asJSON {
		return writeJSON(s.out, a.figures)
	}
	for _, n := range a.notes {
		fmt.Fprintln(s.err, "note:", n)
	}
	return writeRows(s.out, a.table)
}

func writeJSON(w io.Writer, v any) error {
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	return e.Encode(v)
}

func writeRows(w io.Writer, rows []row) error {
	values := 0
	for _, r := range rows {
		values = max(values, len([]rune(r.value)))
	}
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	for _, r := range rows {
		if r.value == "" && r.unit == "" {
			// A word stands where the numbers do and may be long.
			fmt.Fprintf(t, "%s\t%s\n", r.what, r.remark)
			continue
		}
		pad := strings.Repeat(" ", values-len([]rune(r.value)))
		line := fmt.Sprintf("%s\t%s%s %s\t%s", r.what, pad, r.value, r.unit, r.remark)
		fmt.Fprintln(t, strings.TrimRight(line, "\t "))
	}
	return t.Flush()
}

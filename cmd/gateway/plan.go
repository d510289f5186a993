package main

import (
	"context"
	"fmt"
	"io"
	"math"
	"os"
	"strings"
	"text/tabwriter"
	"time"

	"fabricpot/control/garden"

	"github.com/spf13/cobra"
)

type planFlags struct {
	date, svg string
	seed      uint64
	hoses     []string
}

func newPlan(s streams) *cobra.Command {
	var f planFlags
	cmd := &cobra.Command{
		Use:   "plan [FILE]",
		Short: "See a mild day, a hot day and a holiday before they come",
		Long: `plan runs the garden FILE (none: the example) against the simulator with the
gateway's own controller and shows what a mild day, a hot day and two weeks of
holiday would be like: litres for each pot, when each line runs, whether supply
and hours suffice, how long a tank lasts, and, if all water stopped, which pot
runs dry first and when.

Mild days are 12 to 22 °C, hot ones 22 to 36 °C, a holiday 18 to 31 °C, all dry
with a light wind. A big pot is not watered every day, so mild and hot days are
the mean of six, and three of them are drawn. Simulated pots are a guide, not a promise.

--hose LINE=MM:M (inside diameter in mm, length in m, emitters spread along it)
adds what friction in that hose does, by Darcy and Weisbach.`,
		Example: `  gateway plan my-terrace.yaml --hose strawberries=13:12 --svg day.svg`,
		Args:    usage(cobra.MaximumNArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			return plan(cmd.Context(), s, args, f)
		},
	}
	fl := cmd.Flags()
	fl.StringVar(&f.date, "date", "", "the `DATE` the plants' stage is taken from; none: high summer of this year")
	fl.StringVar(&f.svg, "svg", "", "draw when each line runs into this SVG `FILE`")
	fl.Uint64Var(&f.seed, "seed", 1, "what chance depends on")
	fl.StringArrayVar(&f.hoses, "hose", nil, "a line's hose as `LINE=MM:M`; may be given several times")
	return cmd
}

func plan(ctx context.Context, s streams, args []string, f planFlags) error {
	u, err := understand(args)
	if err != nil {
		return err
	}
	u.printWarnings(u.source.Reads.To(s.err))
	u.garden.Hardware.Kind = garden.Bench // the board, if any, is not touched
	hoses, err := readHoses(u, f.hoses)
	if err != nil {
		return wrongUse{err}
	}
	month := time.July
	if u.garden.Site.LatDeg < 0 {
		month = time.January
	}
	day, err := dateFlag("--date", f.date, time.Date(time.Now().Year(), month, 10, 0, 0, 0, 0, u.garden.Site.Zone), u.garden.Site.Zone)
	if err != nil {
		return err
	}
	as := u.source.Reads
	s.out = as.To(s.out)
	if err := printPlan(s.out, u.plan, as); err != nil {
		return err
	}
	kinds := []dayKind{{"mild days", 12, 22, 6}, {"hot days", 22, 36, 6}, {"a holiday", 18, 31, 14}}
	previews := make([]*preview, len(kinds))
	for i, k := range kinds {
		if err := ctx.Err(); err != nil {
			return err
		}
		if previews[i], err = f.preview(u, day, k); err != nil {
			return err
		}
	}
	dry, err := f.withoutWater(ctx, u, day, kinds[1])
	if err != nil {
		return err
	}
	f.printLitres(s.out, u, previews, dry)
	for _, p := range previews[:2] {
		fmt.Fprintf(s.out, "\nWhen each line runs, three %s\n", p.kind.name)
		printGantt(s.out, u, p)
	}
	printSupply(s.out, u, previews)
	printNotes(s.out, append(planNotes(u, previews, dry), hoseNotes(u, hoses)...))
	if f.svg != "" {
		if err := os.WriteFile(f.svg, ganttSVG(u, previews[:2]), 0o644); err != nil {
			return fmt.Errorf("drawing: %w", err)
		}
		fmt.Fprintln(s.err, "drawn:", f.svg)
	}
	return nil
}

// printLitres is the table of pots.
func (f planFlags) printLitres(w io.Writer, u *understood, previews []*preview, dry []time.Duration) {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	as := u.source.Reads
	fmt.Fprintf(t, "\nzone\tmild %[1]s/day\thot %[1]s/day\tholiday %[1]s\tstressed h in hot days\tif water stops, h to its limit\t\n", as.VolumeUnit())
	for i, z := range u.plan.Zones() {
		left := fmt.Sprintf("%.0f", dry[i].Hours())
		if dry[i] >= longestDry {
			left = fmt.Sprintf("over %.0f", longestDry.Hours())
		}
		name := string(z.ID)
		if z.HandTended {
			name += " (by hand)"
		}
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%.0f\t%s\t\n", name, as.Figure(previews[0].perDay(i), 1), as.Figure(previews[1].perDay(i), 1),
			as.Figure(previews[2].zones[i].litres, 0), previews[1].zones[i].stressed, left)
	}
	t.Flush()
}

// printSupply says whether supply, hours and tank suffice.
func printSupply(w io.Writer, u *understood, previews []*preview) {
	open := 24.0
	if hs := u.garden.Supply.Hours; len(hs) > 0 {
		open = 0
		for q := range 96 {
			at := time.Date(2026, 7, 1, 0, 15*q, 0, 0, time.UTC)
			for _, h := range hs {
				if h.Contains(at) {
					open += 0.25
					break
				}
			}
		}
	}
	room := u.garden.Supply.FlowLPH * open
	fmt.Fprintf(w, "\nThe supply can give %.0f L in the %.1f hours of a day when watering is allowed.\n", room, open)
	for _, p := range previews {
		perDay := p.lineL / float64(p.kind.days)
		fmt.Fprintf(w, "  %s: the lines take %.0f L a day, %.0f %% of that", p.kind.name, perDay, 100*perDay/room)
		if tank := u.garden.Supply.TankL; tank.Known && perDay > 0 {
			fmt.Fprintf(w, "; a full tank lasts %.1f days", (tank.Value-u.garden.Supply.TankReserveL)/perDay)
		}
		fmt.Fprintln(w)
	}
}

func printNotes(w io.Writer, notes []string) {
	if len(notes) > 0 {
		fmt.Fprintln(w)
	}
	for _, n := range notes {
		fmt.Fprintln(w, "note:", n)
	}
}

// planNotes is what stands out.
func planNotes(u *understood, previews []*preview, dry []time.Duration) (notes []string) {
	say := func(format string, a ...any) { notes = append(notes, fmt.Sprintf(format, a...)) }
	first := 0
	for i, z := range u.plan.Zones() {
		if dry[i] < dry[first] {
			first = i
		}
		hot := previews[1].zones[i]
		if !z.HandTended && hot.stressed > 2 {
			say("%s is short of water for %.0f h of six hot days: more emitters, longer hours, or a bigger pot", z.ID, hot.stressed)
		}
		if z.HandTended && dry[i] < 14*24*time.Hour {
			say("%s is tended by hand and would last %.0f h in the heat: it needs somebody over a holiday", z.ID, dry[i].Hours())
		}
	}
	if zones := u.plan.Zones(); len(zones) > 0 {
		say("if all water stops in the heat, %s runs dry first, after %.0f h", zones[first].ID, dry[first].Hours())
	}
	for i := range u.garden.Lines {
		for _, o := range u.garden.Lines[i].Outlets {
			pot, zone, ok := u.garden.Zone(o.Zone)
			if !ok {
				continue
			}
			if want := usualEmitters(zone.VolumeL(pot)); o.Emitters < want {
				say("%s has %d emitters where %d are usual for %.0f L: dry corners, water running straight through (common practice)", o.Zone, o.Emitters, want, zone.VolumeL(pot))
			}
		}
	}
	if r := previews[1].refused; r > 0 {
		say("in six hot days a line had to wait %d times because of another, the hours or its daily limit", r)
	}
	return notes
}

// usualEmitters is common practice, no source: four for 75 L, a dozen for 400 L,
// between and beyond them by the same power of the volume, at least one.
func usualEmitters(volumeL float64) int {
	if !(volumeL > 0) {
		return 1
	}
	power := math.Log(12.0/4) / math.Log(400.0/75)
	return max(1, int(math.Round(4*math.Pow(volumeL/75, power))))
}

// drawnDays are the days of a Gantt picture.
const drawnDays = 3

// printGantt draws days in hours.
func printGantt(w io.Writer, u *understood, p *preview) {
	const hours = 24 * drawnDays
	width := 0
	for i := range u.garden.Lines {
		width = max(width, len(u.garden.Lines[i].ID))
	}
	for i := range u.garden.Lines {
		id := u.garden.Lines[i].ID
		row := []byte(strings.Repeat(".", hours))
		var on time.Duration
		for _, r := range p.runs {
			if r.line != id {
				continue
			}
			on += r.to - r.from
			for h := int(r.from / time.Hour); h <= int((r.to-1)/time.Hour) && h < hours; h++ {
				row[h] = '#'
			}
		}
		fmt.Fprintf(w, "  %-*s |", width, id)
		for d := range drawnDays {
			fmt.Fprintf(w, "%s|", row[24*d:24*d+24])
		}
		fmt.Fprintf(w, " %4.0f min\n", on.Minutes())
	}
	fmt.Fprintf(w, "  %-*s %s\n", width, "", strings.Repeat(" 0     6     12    18    ", drawnDays))
}

// ganttSVG is the same as a picture.
func ganttSVG(u *understood, previews []*preview) []byte {
	const left, hourW, rowH, hours = 140, 11, 18, 24 * drawnDays
	var b strings.Builder
	rows := 0
	var body strings.Builder
	for _, p := range previews {
		y := 20 + rows*rowH
		fmt.Fprintf(&body, `<text x="4" y="%d" font-weight="bold">%s</text>`+"\n", y+13, svgText(p.kind.name))
		rows++
		for i := range u.garden.Lines {
			id := u.garden.Lines[i].ID
			y := 20 + rows*rowH
			fmt.Fprintf(&body, `<text x="12" y="%d">%s</text><line x1="%d" x2="%d" y1="%d" y2="%d" stroke="#ccc"/>`+"\n", y+13, svgText(string(id)), left, left+hours*hourW, y+rowH, y+rowH)
			for _, r := range p.runs {
				if r.line == id {
					fmt.Fprintf(&body, `<rect x="%.1f" y="%d" width="%.1f" height="%d" fill="#2a6f97"/>`+"\n",
						left+r.from.Hours()*hourW, y+3, math.Max(1, (r.to-r.from).Hours()*hourW), rowH-6)
				}
			}
			rows++
		}
	}
	height := 30 + rows*rowH
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d" font-family="sans-serif" font-size="12">`+"\n<title>When each line runs</title>\n", left+hours*hourW+10, height)
	for h := 0; h <= hours; h += 6 {
		fmt.Fprintf(&b, `<text x="%d" y="14" text-anchor="middle">%02d</text><line x1="%d" x2="%d" y1="18" y2="%d" stroke="#ddd"/>`+"\n", left+h*hourW, h%24, left+h*hourW, left+h*hourW, height-8)
	}
	b.WriteString(body.String())
	b.WriteString("</svg>\n")
	return []byte(b.String())
}

func svgText(s string) string {
	return strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;", `"`, "&quot;").Replace(s)
}

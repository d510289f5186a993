package main

import (
	"encoding/json"
	"fmt"
	"io"
	"strings"
	"time"

	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/feeding"
	"fabricpot/control/garden"
	"fabricpot/control/task"

	"github.com/spf13/cobra"
)

func newNote(s streams) *cobra.Command {
	var f workFlags
	var photo string
	answers := map[string]*string{}
	var drain float64
	var asJSON bool
	var signs strings.Builder
	for _, i := range task.Signs() {
		fmt.Fprintf(&signs, "\n  %-34s %s", i.Sign, i.Words)
	}
	cmd := &cobra.Command{
		Use:   "note POT [SIGN...] [TEXT]",
		Short: "Note what you see on a plant, and hear what it may be",
		Long: `note keeps an observation and answers it from this pot's own records (days since
feed, ledger, dips under the refill point, hours too wet, temperature): the
likely causes in the order a grower would check them, what to do first, what to
leave alone. A task to look again in 3 to 5 days is put on the rounds. It is no
diagnosis of disease; for sprays follow the label and local advice.

SIGN is one or more of:` + signs.String() + `

Free text follows the signs. The questions of the weekly round have a flag each,
and what is answered there is kept as data and weighed in the answer: whether the
newest growth is green, how many leaves and how high, what drained, and whether
pots that are fed alike look the same. --drain-ec enters what drained below, mS/cm: over
the limit the gateway asks for a flush in place of the next feed.`,
		Example: "  gateway note chilli pale-lower-leaves slow-growth \"since Sunday\"\n  gateway note aubergine --drain-ec 3.2\n  gateway note chard --new-growth green --lower-leaves \"pale, veins too\" --lower-count 4 --lower-height 1/3",
		Args:    usage(cobra.MinimumNArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			list, text, err := readSigns(args[1:])
			if err != nil {
				return wrongUse{err}
			}
			o := runner.Observation{Zone: garden.ZoneID(args[0]), Text: text, Photo: photo}
			for q, a := range answers {
				if *a != "" {
					if o.Answers == nil {
						o.Answers = map[string]string{}
					}
					o.Answers[q] = *a
				}
			}
			if _, err := task.ReadEyes(o.Zone, time.Time{}, o.Answers); err != nil {
				return wrongUse{err}
			}
			if cmd.Flags().Changed("drain-ec") {
				o.DrainMS = &drain
			}
			if len(list) == 0 {
				if o.DrainMS == nil && len(o.Answers) == 0 && photo == "" {
					return wrongUse{fmt.Errorf("no sign: expected one such as %s, an answer such as --lower-leaves green, or --drain-ec", task.PaleLowerLeaves)}
				}
				list = []task.Sign{""}
			}
			for _, sign := range list {
				o.Sign = string(sign)
				var n feeding.Noted
				err := f.ask(cmd.Context(), s, "POST", "/note", o, &n, func(b *runner.FeedBook, now garden.Moment) error {
					var err error
					n, err = b.Note(now, o, "command line")
					return err
				})
				if err != nil {
					return err
				}
				if asJSON {
					enc := json.NewEncoder(s.out)
					enc.SetIndent("", "  ")
					err = enc.Encode(n)
				} else {
					printNoted(s.out, o, n)
				}
				if err != nil {
					return err
				}
				o.Text, o.Photo, o.DrainMS, o.Answers = "", "", nil, nil
			}
			return nil
		},
	}
	f.on(cmd)
	f.garden(cmd)
	fl := cmd.Flags()
	fl.StringVar(&photo, "photo", "", "a photo's file `NAME`")
	for _, q := range task.Questions() {
		if q.ID == task.AskPhoto {
			continue
		}
		words := make([]string, 0, len(q.Choices))
		for _, c := range q.Choices {
			words = append(words, c.Word)
		}
		ask := strings.ToLower(q.Ask[:1]) + q.Ask[1:]
		if len(words) > 0 {
			ask += ": `" + strings.Join(words, " | ") + "`"
		}
		answers[q.ID] = fl.String(q.ID, "", ask)
	}
	fl.Float64Var(&drain, "drain-ec", 0, "conductivity of what drained below, `MS` mS/cm")
	fl.BoolVar(&asJSON, "json", false, "print JSON in place of words")
	return cmd
}

// readSigns splits arguments into the signs that come first and the free text
// after them.
func readSigns(args []string) (signs []task.Sign, text string, err error) {
	for i, a := range args {
		sign, err := task.ParseSign(a)
		if err != nil {
			if i == 0 {
				return nil, "", err
			}
			return signs, strings.Join(args[i:], " "), nil
		}
		signs = append(signs, sign)
	}
	return signs, "", nil
}

func printNoted(w io.Writer, o runner.Observation, n feeding.Noted) {
	if o.DrainMS != nil {
		fmt.Fprintf(w, "%s: noted, %.1f mS/cm drained\n", o.Zone, *o.DrainMS)
	}
	if o.Sign == "" && len(o.Answers) == 0 && o.Photo == "" {
		return
	}
	printAnswer(w, o.Zone, n)
	for _, also := range n.Also {
		printAnswer(w, o.Zone, also)
	}
}

func printAnswer(w io.Writer, zone garden.ZoneID, n feeding.Noted) {
	a := n.Answer
	fmt.Fprintf(w, "%s: noted, %s\n", zone, a.Words)
	for i, c := range a.Causes {
		if i == 0 {
			fmt.Fprintln(w, "Likely causes, in the order to check them:")
		}
		fmt.Fprintf(w, "  %d. %s - %s", i+1, c.Name, c.Support)
		if len(c.Evidence) > 0 {
			fmt.Fprintf(w, " (%s)", strings.Join(c.Evidence, "; "))
		}
		fmt.Fprintf(w, "\n     check: %s\n     source: %s\n", c.Check, c.Source)
	}
	list := func(title string, lines []string) {
		if len(lines) > 0 {
			fmt.Fprintln(w, title)
		}
		for _, l := range lines {
			fmt.Fprintf(w, "  - %s\n", l)
		}
	}
	list("First:", a.First)
	list("Leave alone:", a.LeaveAlone)
	if len(n.Plan) > 0 {
		fmt.Fprintln(w, "Recovery is a plan, not one feed; its tasks are on the rounds:")
		for _, st := range n.Plan {
			fmt.Fprintf(w, "  day %d to %d: %s\n", st.Day, max(st.Day, st.ToDay), st.Words)
		}
	}
	if t := a.LookAgain; t != nil {
		fmt.Fprintf(w, "Look again between %s and %s: %s\n", t.Due.Format("2 January"), t.Until.Format("2 January"), t.ID)
	}
	fmt.Fprintln(w, a.Caveat)
}

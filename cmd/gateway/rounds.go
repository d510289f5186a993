package main

import (
	"encoding/json"
	"fmt"
	"io"
	"strings"
	"text/tabwriter"

	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/feeding"
	"fabricpot/control/garden"
	"fabricpot/control/task"

	"github.com/spf13/cobra"
)

func newRounds(s streams) *cobra.Command {
	var f workFlags
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "rounds [FILE]",
		Short: "List what waits for your hands, most pressing first",
		Long: `rounds lists the work that no valve does: feeds to mix and pour, water for pots
without a line, flushes, the weekly round, looks at plants that did not look
well. Each task says what to mix and how much, where to pour, in what order, how
long to hold the hose and until when. Then it tells how each zone is fed next,
what salts stand in each pot, and what an injector's stock is mixed from.

The list comes from the running gateway; with none running, from the journal of
the garden in FILE. What is open then was opened while the gateway ran, and those
salts are not told.`,
		Example: "  gateway rounds\n  gateway done feed-chilli-3 --litres 2",
		Args:    usage(cobra.MaximumNArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) > 0 {
				f.file = args[0]
			}
			var r runner.Rounds
			err := f.ask(cmd.Context(), s, "GET", "/rounds", nil, &r, func(b *runner.FeedBook, now garden.Moment) error {
				r = b.List(now.Wall)
				r.Reads = f.reads
				return nil
			})
			if err != nil {
				return err
			}
			if asJSON {
				enc := json.NewEncoder(s.out)
				enc.SetIndent("", "  ")
				return enc.Encode(r)
			}
			return printRounds(r.Reads.To(s.out), r)
		},
	}
	f.on(cmd)
	cmd.Flags().BoolVar(&asJSON, "json", false, "print one JSON object in place of words")
	return cmd
}

func printRounds(w io.Writer, r runner.Rounds) error {
	if len(r.Tasks) == 0 {
		fmt.Fprintln(w, "Nothing waits for your hands.")
	}
	for _, t := range r.Tasks {
		printTask(w, t)
	}
	fed := false
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	for _, z := range r.Zones {
		if !z.Fed {
			continue
		}
		if !fed {
			fmt.Fprintln(tw, "Feeding\tby\tnext")
			fed = true
		}
		by := "hand"
		if z.Line != "" {
			by = "line " + string(z.Line)
		}
		left := ""
		if z.NDaysLeft != nil {
			left = fmt.Sprintf("; nitrogen for %.0f days by the ledger", *z.NDaysLeft)
		}
		fmt.Fprintf(tw, "%s\t%s\t%s%s\n", z.Zone, by, z.Words, left)
		if s := saltWords(z); s != "" {
			fmt.Fprintf(tw, "\t\tsalts: %s\n", s)
		}
	}
	if err := tw.Flush(); err != nil {
		return err
	}
	if len(r.TapSalts) > 0 {
		fmt.Fprintln(tw, "\nSalts that cost harvest, in the pot's water")
		for i := range r.TapSalts {
			fmt.Fprintf(tw, "%s\t%s\n", r.TapSalts[i].Zone, r.TapSalts[i].String())
		}
		if err := tw.Flush(); err != nil {
			return err
		}
	}
	for _, st := range r.Stocks {
		printStock(w, st)
	}
	return nil
}

// saltWords tell what is known of a zone's salts.
func saltWords(z feeding.ZoneView) string {
	var words []string
	if z.SaltMS != nil {
		s := fmt.Sprintf("about %.1f mS/cm by the account, food and all", *z.SaltMS)
		if z.FeedMS != nil {
			s += fmt.Sprintf(" (the feed has %.1f)", *z.FeedMS)
		}
		words = append(words, s)
	}
	if z.DrainMS != nil && z.DrainAt != nil {
		words = append(words, fmt.Sprintf("drainage read %.1f mS/cm on %s", *z.DrainMS, z.DrainAt.Format("2 January")))
	}
	if z.Flushed != nil {
		words = append(words, "last flushed "+z.Flushed.Format("2 January"))
	}
	if z.Flush != "" {
		words = append(words, "to be flushed: "+z.Flush)
	}
	return strings.Join(words, "; ")
}

func printTask(w io.Writer, t task.Listed) {
	fmt.Fprintf(w, "%s  [%s]\n", t.Title, t.Urgency)
	fmt.Fprintf(w, "  name: %s; due %s, at the latest %s\n", t.ID, t.Due.Format("2 January 15:04"), t.Until.Format("2 January 15:04"))
	if t.Why != "" {
		fmt.Fprintf(w, "  why: %s\n", t.Why)
	}
	for _, seen := range t.Seen {
		fmt.Fprintf(w, "  seen: %s\n", seen)
	}
	for i, step := range t.Steps {
		fmt.Fprintf(w, "  %d. %s\n", i+1, step)
	}
	for _, since := range t.Since {
		fmt.Fprintf(w, "  done since: %s\n", since)
	}
	for _, c := range t.Cautions {
		fmt.Fprintf(w, "  ! %s\n", c)
	}
	fmt.Fprintln(w)
}

func printStock(w io.Writer, st feeding.Stock) {
	fmt.Fprintf(w, "\nStock for the injector of line %s (1:%g):\n", st.Line, st.Ratio)
	for _, in := range st.Recipe.Ingredients {
		if in.StockGPerL != nil {
			fmt.Fprintf(w, "  %.0f g of %s in each litre of stock; one feed of %.1f L holds %.0f g\n", *in.StockGPerL, in.Name, st.Recipe.Litres, in.Grams)
		} else {
			fmt.Fprintf(w, "  %.2f g of %s in each litre of the ready solution\n", in.GPerL, in.Name)
		}
	}
	for _, warn := range st.Recipe.Warnings {
		fmt.Fprintf(w, "  warning: %s\n", warn)
	}
	for _, c := range injectorCautions() {
		fmt.Fprintf(w, "  ! %s\n", c)
	}
}

// injectorCautions go with everything that has feed in a line.
func injectorCautions() []string {
	return []string{
		"Read the product's label first and follow it where it says otherwise.",
		"Wear gloves and eye protection when you weigh, mix and fill.",
		"Keep products and stock closed, marked, and out of the reach of children and animals.",
		"Keep feed out of drinking water: an air gap, or the backflow device your local code asks for, upstream of the injector; have it fitted by a licensed person where the code says so.",
		"Electrics of a dosing pump: extra-low voltage from a safety isolating supply, away from water.",
	}
}

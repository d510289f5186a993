package main

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"net/url"
	"strings"
	"time"

	"fabricpot/cmd/gateway/internal/page"

	"github.com/spf13/cobra"
)

// withdrawPatience is how long a request that was given up may take to be taken
// back: a round that reads slow probes may be between.
const withdrawPatience = 30 * time.Second

func newReload(s streams) *cobra.Command {
	var socket string
	var patience time.Duration
	cmd := &cobra.Command{
		Use:   "reload",
		Short: "Have the running gateway read its garden file again",
		Long: `reload has the running gateway read its garden file again. The whole file is
checked first. A file with faults changes nothing; they are printed with their
lines and columns. Otherwise all of it is taken over at a moment when every line
is closed, or nothing:

What grows, mixes, calibrations, sizes, refill points, hours, limits, feeds,
products and how alarms reach people (but for a lamp) are taken over. What is known
of each pot stays: its water, what it was seen to drink, what it got and what is due. A tighter limit holds at once, a looser one a day later, so that nothing
that is left of today's budget grows.
Hours of watering that only grew hold a day later too, those that moved at once.

Site, hardware, buses, pins, emitters and injectors, thermometers, tank, pump and
gauges, broker, journal, the interval of the rounds, and pots, zones, probes or
lines that come, go or change places take a restart; so do names where there is a
broker. Where a file changes any of these, reload names them and takes over nothing.

While a line is open it waits for --wait at most and gives up then; meanwhile, for
two hours at most, no watering begins but what you ask for, feeds and survival
doses. SIGHUP does the same and waits two hours; what came of it is in the log.`,
		Args: usage(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if patience < 0 || patience > mostReloadWait {
				return wrongUse{fmt.Errorf("--wait %v: expected 0s to %v", patience, mostReloadWait)}
			}
			return reload(cmd.Context(), s, page.NewClient(socket), patience)
		},
	}
	spanVar(cmd.Flags(), &patience, "wait", 10*time.Minute, "how long to wait for the lines to close")
	socketFlag(cmd, &socket)
	return cmd
}

// reload asks the gateway and waits for what comes of it.
func reload(ctx context.Context, s streams, c *page.Client, patience time.Duration) error {
	ask := rand.Text()
	var rep reloadReport
	err := c.Do(ctx, "POST", "/reload?ask="+ask, map[string]float64{"patience_s": patience.Seconds()}, &rep)
	for told := false; err == nil && !rep.over(); {
		if !told {
			fmt.Fprintln(s.err, strings.Join(rep.words(), "\n"))
			told = true
		}
		select {
		case <-ctx.Done():
			err = ctx.Err()
		case <-time.After(reloadLook):
			err = c.Do(ctx, "GET", "/reload", nil, &rep)
		}
	}
	var unanswered *url.Error
	if errors.As(err, &unanswered) && !errors.Is(err, page.ErrNobody) || ctx.Err() != nil && err != nil {
		return withdraw(ctx, s, c, ask, err)
	}
	if err != nil {
		return err
	}
	return rep.outcome(s)
}

// withdraw takes back what was asked for and says what came of it: who gave up does
// not want to find it done an hour later, nor to hear that nothing was changed where
// it was.
func withdraw(ctx context.Context, s streams, c *page.Client, ask string, why error) error {
	if errors.Is(why, context.Canceled) {
		why = errors.New("interrupted")
	}
	leave, cancel := context.WithTimeout(context.WithoutCancel(ctx), withdrawPatience)
	defer cancel()
	var rep reloadReport
	if err := c.Do(leave, "DELETE", "/reload?ask="+ask, nil, &rep); err != nil {
		return fmt.Errorf("%w; whether the file is taken over is not known, the gateway's log tells: %w", why, err)
	}
	switch {
	case rep.Ask == ask && (rep.State == reloadApplied || rep.State == reloadUnchanged):
		fmt.Fprintf(s.err, "%v, too late to take it back\n", why)
		return rep.outcome(s)
	case rep.Ask == ask && rep.State != reloadGaveUp:
		return errors.Join(why, rep.outcome(s))
	}
	return fmt.Errorf("%w; nothing was changed", why)
}

// outcome says what came of it; whatever did not change the garden as the file
// says is an error.
func (r *reloadReport) outcome(s streams) error {
	words := r.words()
	if r.State == reloadApplied || r.State == reloadUnchanged {
		for _, w := range r.Warnings {
			fmt.Fprintln(s.err, w)
		}
		for _, c := range r.Changed {
			fmt.Fprintln(s.out, c)
		}
		fmt.Fprintln(s.out, words[len(words)-1])
		return nil
	}
	for _, w := range words[:len(words)-1] {
		fmt.Fprintln(s.err, w)
	}
	return errors.New(words[len(words)-1])
}

package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"fabricpot/cmd/gateway/internal/notify"
	"fabricpot/cmd/gateway/internal/page"
	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/garden"

	"github.com/spf13/cobra"
)

func newAlarms(s streams) *cobra.Command {
	var socket string
	cmd := &cobra.Command{
		Use:   "alarms",
		Short: "What is wrong now, who was told, and what to do about it",
		Long: `alarms lists what a running gateway has raised, the worst first, each with its
next step, and how the ways by which it reaches you have been doing.

An alarm is raised when its condition has held for its delay, and cleared when
that was gone for a while. Until somebody marks it as seen its message is
repeated, less and less often. There is one alarm for one cause: a bus that
sticks is not also an alarm for each probe behind it.`,
		Example: "  gateway alarms\n  gateway alarms seen \"no flow\" tomatoes\n  gateway alarms rest \"probe in doubt\" chilli-top --for 72h\n  gateway alarms ring",
		Args:    usage(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			var st runner.Status
			c := page.NewClient(socket)
			if err := c.Do(cmd.Context(), "GET", "/status", nil, &st); err != nil {
				return err
			}
			var ways []notify.WayStatus
			if err := c.Do(cmd.Context(), "GET", "/ways", nil, &ways); err != nil {
				return err
			}
			printAlarms(s.out, &st)
			printWays(s.out, ways)
			return nil
		},
	}
	cmd.PersistentFlags().StringVar(&socket, "socket", defaultSocket(), "control `socket` of the gateway")
	cmd.AddCommand(newAlarmsSeen(s, &socket), newAlarmsRest(s, &socket), newAlarmsRing(s, &socket))
	return cmd
}

func printAlarms(w io.Writer, st *runner.Status) {
	if len(st.Alarms) == 0 {
		fmt.Fprintln(w, "no alarm")
	}
	for _, a := range st.Alarms {
		about := ""
		if a.About != "" {
			about = " " + fmt.Sprintf("%q", a.About)
		}
		if a.Rests() {
			fmt.Fprintf(w, "%q%s: %s, does not hold now\n", a.Name, about, a.State)
		} else {
			fmt.Fprintf(w, "%q%s: %s since %s\n    %s\n    next: %s\n", a.Name, about, a.State, a.Since.Format("2006-01-02 15:04"), a.Text, a.Next)
		}
		if a.OutUntil != nil {
			fmt.Fprintf(w, "    back in service %s\n", a.OutUntil.Format("2006-01-02 15:04"))
		}
	}
}

func printWays(w io.Writer, ways []notify.WayStatus) {
	if len(ways) == 0 {
		fmt.Fprintln(w, "\nnobody is told but page and hub")
		return
	}
	fmt.Fprintln(w)
	for i := range ways {
		fmt.Fprintf(w, "%s: %s\n", ways[i].Name, wayWords(&ways[i]))
	}
}

// wayWords say how a way has been doing.
func wayWords(s *notify.WayStatus) string {
	at := func(t *time.Time) string { return t.Format("2006-01-02 15:04") }
	var out string
	switch {
	case s.LastSent == nil && s.LastFailed == nil:
		out = "nothing was to be sent since the start"
	case s.Works():
		out = fmt.Sprintf("works, last sent %s, %d in all", at(s.LastSent), s.Sent)
	case s.LastSent == nil:
		out = fmt.Sprintf("fails since the start, last %s: %s", at(s.LastFailed), s.LastError)
	default:
		out = fmt.Sprintf("fails, last %s, last sent %s: %s", at(s.LastFailed), at(s.LastSent), s.LastError)
	}
	if s.Waiting > 0 {
		out += fmt.Sprintf("; %d on their way", s.Waiting)
	}
	if n := s.Failed + s.Dropped; n > 0 {
		out += fmt.Sprintf("; %d never arrived", n)
	}
	return out
}

// alarmArgs are NAME [ABOUT].
func alarmArgs(args []string) onAlarm {
	a := onAlarm{Name: args[0]}
	if len(args) > 1 {
		a.About = args[1]
	}
	return a
}

func newAlarmsSeen(s streams, socket *string) *cobra.Command {
	return &cobra.Command{
		Use:   "seen NAME [ABOUT]",
		Short: "Mark an alarm as seen: its message is repeated no more",
		Long: `seen marks an alarm as seen. NAME and ABOUT are as 'gateway alarms' prints them.
It stays in the list as long as its condition holds, also over a restart, and
is news again when it comes back after it was over.`,
		Example: "  gateway alarms seen \"no flow\" tomatoes\n  gateway alarms seen \"tank low\"",
		Args:    usage(cobra.RangeArgs(1, 2)),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := page.NewClient(*socket).Do(cmd.Context(), "POST", "/alarms/seen", alarmArgs(args), nil); err != nil {
				return err
			}
			fmt.Fprintln(s.out, "marked as seen")
			return nil
		},
	}
}

func newAlarmsRest(s streams, socket *string) *cobra.Command {
	var long time.Duration
	cmd := &cobra.Command{
		Use:   "rest NAME [ABOUT]",
		Short: "Take an alarm out of service for a while, or put it back",
		Long: `rest takes an alarm out of service for the time you give with --for, at most 30
days: it is watched, and nobody is told. Use it for what you know of and can't
mend yet. --for 0 puts it back at once; what still holds then is told anew.

Nothing but the telling rests: a line that is not confirmed closed stays shut
whether somebody is told or not.`,
		Example: "  gateway alarms rest \"probe in doubt\" chilli-top --for 72h\n  gateway alarms rest \"probe in doubt\" chilli-top --for 0",
		Args:    usage(cobra.RangeArgs(1, 2)),
		RunE: func(cmd *cobra.Command, args []string) error {
			if !cmd.Flags().Changed("for") || long < 0 {
				return wrongUse{errors.New("say with --for how long, such as --for 3d, or --for 0 to put it back")}
			}
			a := alarmArgs(args)
			a.Hours = long.Hours()
			if err := page.NewClient(*socket).Do(cmd.Context(), "POST", "/alarms/rest", a, nil); err != nil {
				return err
			}
			if long == 0 {
				fmt.Fprintln(s.out, "back in service")
				return nil
			}
			fmt.Fprintf(s.out, "out of service for %v\n", long)
			return nil
		},
	}
	spanVar(cmd.Flags(), &long, "for", 0, "how long, such as 72h or 3d; 0 puts it back")
	return cmd
}

func newAlarmsRing(s streams, socket *string) *cobra.Command {
	return &cobra.Command{
		Use:   "ring [FILE]",
		Short: "Send the self-test message now, by each way",
		Long: `ring sends the message that also comes once a month, by each way the garden file
names, and says what came of it. Do it once after you have set the ways up: a
message that never arrived looks like a garden where all is well.

It goes through the running gateway. With none running, name the garden file:
then webhooks and mail are tried from here, and the lamp is left alone.`,
		Example: "  gateway alarms ring\n  gateway alarms ring my-terrace.yaml",
		Args:    usage(cobra.MaximumNArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			var rung []notify.Rung
			err := page.NewClient(*socket).Do(cmd.Context(), "POST", "/ring", nil, &rung)
			switch {
			case errors.Is(err, page.ErrNobody) && len(args) == 1:
				if rung, err = ringFrom(cmd.Context(), s, args); err != nil {
					return err
				}
			case err != nil:
				return err
			}
			var failed error
			for _, r := range rung {
				fmt.Fprintf(s.out, "%s: %s\n", r.Name, cmp.Or(r.Error, "taken"))
				if r.Error != "" {
					failed = errors.New("not every way took the message")
				}
			}
			return failed
		},
	}
}

// ringFrom tries the ways of a garden file with no gateway running.
func ringFrom(ctx context.Context, s streams, args []string) ([]notify.Rung, error) {
	u, err := understand(args)
	if err != nil {
		return nil, err
	}
	if amiss := u.waysAmiss(); len(amiss) > 0 {
		return nil, errors.New(strings.Join(amiss, "\n"))
	}
	ways, err := notify.Network(u.garden.Calling)
	if err != nil {
		return nil, err
	}
	if len(ways) == 0 {
		return nil, fmt.Errorf("%s: under alarms it names neither webhooks nor mail", args[0])
	}
	fmt.Fprintln(s.err, "no gateway is running: trying from here")
	now := garden.Moment{Wall: time.Now().In(u.garden.Site.Zone), Synced: true}
	return notify.RingOnce(ctx, u.garden.Site, ways, now), nil
}

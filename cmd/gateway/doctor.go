package main

import (
	"archive/zip"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"strings"
	"time"

	"fabricpot/cmd/gateway/internal/config"
	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/cmd/gateway/internal/page"
	"fabricpot/testdata"

	"github.com/spf13/cobra"
)

type doctorFlags struct {
	standFlags
	out string
}

func newDoctor(s streams) *cobra.Command {
	var f doctorFlags
	cmd := &cobra.Command{
		Use:   "doctor [FILE]",
		Short: "Gather what somebody who helps you would ask for, into one file",
		Long: `doctor writes one zip file with the garden file (passwords, tokens, headers'
values, addresses' users and the place left out), what the controller makes of it, versions, what
answers on the buses, and the journal's statistics and last alarms. It prints the
list of what is in it; read it before you hand it on. Nothing is sent anywhere and
no valve is opened.

While a gateway runs its buses are left alone and its own status is taken instead.`,
		Example: `  gateway doctor my-terrace.yaml --out help.zip`,
		Args:    usage(cobra.MaximumNArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			return doctor(cmd.Context(), s, args, f)
		},
	}
	cmd.Flags().StringVar(&f.out, "out", "", "the zip `FILE` to write; none: gateway-doctor-DATE.zip here")
	f.add(cmd)
	return cmd
}

// finding is one part of the bundle.
type finding struct {
	name, what string
	text       []byte
}

func doctor(ctx context.Context, s streams, args []string, f doctorFlags) error {
	now := time.Now()
	out := f.out
	if out == "" {
		out = "gateway-doctor-" + now.Format("2006-01-02-150405") + ".zip"
	}
	name, src := exampleName, testdata.Terrace
	if len(args) > 0 {
		name = args[0]
		var err error
		if src, err = config.ReadFile(name); err != nil {
			return err
		}
	}
	// A part that fails is in the bundle with its error: that is what one wants
	// to know.
	findings := []finding{
		{"versions.txt", "program, system and board", versions(now)},
		{"garden.yaml", "the garden file without secrets and place", []byte(redactGarden(string(src)))},
	}
	u, err := understand(args)
	if err == nil {
		if err := f.hardwareOf(u); err != nil {
			return err
		}
	}
	if err != nil {
		findings = append(findings, finding{"check.txt", "why the garden file is refused", []byte(redactProblems(err.Error()) + "\n")})
	} else {
		findings = append(findings,
			finding{"check.txt", "what the controller makes of it, with warnings", checked(u)},
			f.hardwareFinding(ctx, u),
		)
	}
	findings = append(findings, f.journalFinding(ctx, u, now))

	file, err := os.OpenFile(out, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if errors.Is(err, fs.ErrExist) {
		return fmt.Errorf("bundle: %s is there already: name a new file with --out", out)
	}
	if err != nil {
		return fmt.Errorf("bundle: %w", err)
	}
	if err := errors.Join(writeBundle(file, findings, now), file.Close()); err != nil {
		// Half a bundle would stand in the way of the next one.
		return fmt.Errorf("bundle: %w", errors.Join(err, os.Remove(out)))
	}
	for _, x := range findings {
		fmt.Fprintf(s.out, "%-14s %7d bytes  %s\n", x.name, len(x.text), x.what)
	}
	fmt.Fprintln(s.err, "written:", filepath.Clean(out))
	return nil
}

func writeBundle(w io.Writer, findings []finding, now time.Time) error {
	z := zip.NewWriter(w)
	var list strings.Builder
	for _, x := range findings {
		fmt.Fprintf(&list, "%-14s %s\n", x.name, x.what)
	}
	for _, x := range append([]finding{{"contents.txt", "", []byte(list.String())}}, findings...) {
		part, err := z.CreateHeader(&zip.FileHeader{Name: x.name, Method: zip.Deflate, Modified: now})
		if err != nil {
			return err
		}
		if _, err := part.Write(x.text); err != nil {
			return err
		}
	}
	return z.Close()
}

func versions(now time.Time) []byte {
	var b bytes.Buffer
	fmt.Fprintf(&b, "gateway %s\n%s/%s, %d processors\nwritten %s\n", version(), runtime.GOOS, runtime.GOARCH, runtime.NumCPU(), now.Format(time.RFC3339))
	for what, path := range map[string]string{"kernel": "/proc/version", "board": "/proc/device-tree/model"} {
		if text, err := os.ReadFile(path); err == nil {
			fmt.Fprintf(&b, "%s: %s\n", what, strings.TrimSpace(strings.Trim(string(text), "\x00")))
		}
	}
	if info, ok := debug.ReadBuildInfo(); ok {
		fmt.Fprintln(&b)
		for _, d := range info.Deps {
			fmt.Fprintln(&b, d.Path, d.Version)
		}
	}
	return b.Bytes()
}

func checked(u *understood) []byte {
	var b bytes.Buffer
	_ = printPlan(&b, u.plan, u.source.Reads)
	fmt.Fprintln(&b)
	u.printWarnings(&b)
	return []byte(redact(b.String()))
}

// hardwareFinding scans the buses, or asks the gateway that uses them.
func (f doctorFlags) hardwareFinding(ctx context.Context, u *understood) finding {
	var status json.RawMessage
	err := page.NewClient(f.socket).Do(ctx, "GET", "/status", nil, &status)
	if !errors.Is(err, page.ErrNobody) {
		x := finding{name: "status.txt", what: "a gateway is running: its status; the buses were left alone"}
		if err != nil {
			x.text = []byte(err.Error() + "\n")
			return x
		}
		var b bytes.Buffer
		if err := json.Indent(&b, status, "", "  "); err != nil {
			b.Write(status)
		}
		x.text = []byte(redact(b.String()))
		return x
	}
	x := finding{name: "hardware.txt", what: "what answers on buses and pins"}
	var b bytes.Buffer
	st, err := openLooker(streams{in: strings.NewReader(""), out: &b, err: &b}, u, f.standFlags)
	if err == nil {
		st.report(&b)
		err = st.Close()
	}
	if err != nil {
		fmt.Fprintln(&b, err)
	}
	x.text = b.Bytes()
	return x
}

// journalFinding looks into a copy, so that a running gateway is not disturbed
// and a damaged journal stays as it is.
func (f doctorFlags) journalFinding(ctx context.Context, u *understood, now time.Time) finding {
	x := finding{name: "journal.txt", what: "the journal's size, counts and last alarms"}
	path := f.journal
	if path == "" {
		// A gateway that runs knows best which one it keeps.
		var running struct {
			Journal string `json:"journal"`
		}
		if page.NewClient(f.socket).Do(ctx, "GET", "/status", nil, &running) == nil {
			path = running.Journal
		}
	}
	if path == "" && u != nil {
		path = u.garden.JournalFile
	}
	if path == "" {
		dir, err := stateDir()
		if err != nil {
			x.text = []byte(err.Error() + "\n")
			return x
		}
		path = filepath.Join(dir, "journal.db")
	}
	var b bytes.Buffer
	fmt.Fprintln(&b, "journal", path)
	if err := tellJournal(&b, path, now); err != nil {
		fmt.Fprintln(&b, err)
	}
	x.text = []byte(redact(b.String()))
	return x
}

func tellJournal(w io.Writer, path string, now time.Time) error {
	info, err := os.Stat(path)
	if err != nil {
		return err
	}
	fmt.Fprintf(w, "%d bytes, last written %s\n", info.Size(), info.ModTime().Format(time.RFC3339))
	dir, err := os.MkdirTemp("", "gateway-doctor-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	duplicate := filepath.Join(dir, "journal.db")
	if err := journal.Backup(path, duplicate); err != nil {
		return err
	}
	j, aside, err := journal.Open(duplicate)
	if err != nil {
		return err
	}
	defer j.Close()
	if aside != "" {
		return errors.New("the journal is damaged: " + aside)
	}
	v, err := j.SchemaVersion()
	if err != nil {
		return err
	}
	unfinished, err := j.Unfinished()
	if err != nil {
		return err
	}
	week, err := j.DeliveriesSince(now.AddDate(0, 0, -7))
	if err != nil {
		return err
	}
	perLine := map[string]float64{}
	ends := map[string]int{}
	for _, d := range week {
		perLine[string(d.Line)] += d.Litres
		ends[d.End.String()]++
	}
	fmt.Fprintf(w, "layout %d; unfinished intents: %d\nlast seven days: %d deliveries, litres by line %v, endings %v\n", v, len(unfinished), len(week), perLine, ends)
	alarms, err := j.Alarms(now.AddDate(0, -3, 0), 100)
	if err != nil {
		return err
	}
	fmt.Fprintf(w, "\nlast alarms (%d):\n", len(alarms))
	for _, a := range alarms {
		fmt.Fprintf(w, "%s  %s %s %s: %s\n", a.At.Wall.Format(time.RFC3339), a.Kind, a.Subject, a.Event, a.Text)
	}
	return nil
}

package main

import (
	"fmt"
	"path/filepath"
	"strings"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/garden"
)

// Kinds of notes on what was changed in a calibration, points of water: the
// probe's offset after it, and the new coefficient per °C.
const (
	anchorKind      = "probe-offset"
	coefficientKind = "temperature-coefficient"
)

// enter puts a change of a calibration into the garden's journal, where report
// and export show it. A bench has a journal only where one is named. The caller
// holds the socket, so that no gateway runs.
func (f standFlags) enter(s streams, u *understood, zone garden.ZoneID, kind string, value float64, text string) error {
	if u.garden.Hardware.Kind == garden.Bench && (f.journal == "" && (f.hardware != "" || u.garden.JournalFile == "")) {
		fmt.Fprintln(s.err, "a bench keeps no journal: only the calibration file tells of it (--journal names one)")
		return nil
	}
	j, err := openJournal(s, u, f.journal, false)
	if err != nil {
		return fmt.Errorf("the calibration file was changed, the journal does not tell of it: %w", err)
	}
	defer j.Close()
	n := journal.Note{At: runner.NewBoardClock(u.garden.Site.Zone).Moment(), Zone: zone, Kind: kind, Value: garden.Known(value), Text: text, Who: "command line"}
	if err := j.AddNote(n); err != nil {
		return fmt.Errorf("the calibration file was changed, the journal does not tell of it: %w", err)
	}
	return nil
}

// about begins the text of a note on a calibration file.
func about(file string) string { return filepath.Base(file) + ": " }

// isAbout reports whether a note is of that kind and file.
func isAbout(n journal.Note, kind, file string) bool {
	return n.Kind == kind && strings.HasPrefix(n.Text, about(file))
}

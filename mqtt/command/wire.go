package command

import (
	"errors"
	"fmt"
	"time"

	"fabricpot/control/garden"
	"fabricpot/mqtt/payload"
)

// Do is what a command asks for.
type Do string

// The commands.
const (
	// Water gives a zone litres.
	Water Do = "water"
	// Feed feeds a zone now, if it is due or nearly.
	Feed Do = "feed"
	// KeepShut keeps a zone, or all, shut for minutes.
	KeepShut Do = "keep-shut"
	// Release ends that.
	Release Do = "release"
	// Stop ends what is flowing to a zone.
	Stop Do = "stop"
	// CloseAll closes every line now.
	CloseAll Do = "close-all"
	// AutoOn and AutoOff switch automatic control.
	AutoOn  Do = "automatic-on"
	AutoOff Do = "automatic-off"
	// Acknowledge says that somebody has seen an alarm.
	Acknowledge Do = "acknowledge"
	// Done says that a task is done.
	Done Do = "done"
)

const (
	// MaxBytes bounds a command.
	MaxBytes = 1024
	// MaxAhead bounds how far ahead an expiry may lie. It also bounds how
	// long identities must be remembered.
	MaxAhead = 10 * time.Minute
	// MaxLitres and MaxShut bound what may be asked for at all.
	MaxLitres = 1000
	MaxShut   = 31 * 24 * time.Hour
)

// wire is a command as it arrives.
type wire struct {
	ID      string   `json:"id"`
	Do      Do       `json:"do"`
	Expires string   `json:"expires"`
	Zone    string   `json:"zone"`
	Litres  *float64 `json:"litres"`
	Minutes *float64 `json:"minutes"`
	Alarm   string   `json:"alarm"`
	Task    string   `json:"task"`
}

// Wish is an accepted command.
type Wish struct {
	ID string
	Do Do
	// Ask is for everything that the controller decides: water, feed, keep
	// shut, release, automatic control.
	Ask garden.Ask
	// Target is the alarm, the task, or the zone to stop.
	Target string
}

// needs says which fields a command has besides id, do and expires.
type needs struct {
	zone, litres, minutes, alarm, task bool
	// all: an empty zone means every zone.
	all bool
	// flows: water may flow because of it.
	flows bool
}

func (d Do) needs() (needs, bool) {
	switch d {
	case Water:
		return needs{zone: true, litres: true, flows: true}, true
	case Feed:
		return needs{zone: true, flows: true}, true
	case KeepShut:
		return needs{zone: true, minutes: true, all: true}, true
	case Release:
		return needs{zone: true, all: true, flows: true}, true
	case Stop:
		return needs{zone: true}, true
	case CloseAll, AutoOff:
		return needs{}, true
	case AutoOn:
		return needs{flows: true}, true
	case Acknowledge:
		return needs{alarm: true}, true
	case Done:
		return needs{task: true}, true
	}
	return needs{}, false
}

// decode reads a command and judges its form. The id comes back even from a
// command that is refused, where it could be read, so that it can be answered.
func decode(b []byte) (w wire, n needs, err error) {
	if len(b) > MaxBytes {
		return w, n, fmt.Errorf("command of %d bytes, allowed are %d", len(b), MaxBytes)
	}
	if err := payload.Strict(b, &w); err != nil {
		var id struct {
			ID string `json:"id"`
		}
		if payload.Lenient(b, &id) == nil {
			w.ID = id.ID
		}
		return w, n, err
	}
	if !garden.ValidID(w.ID) {
		return w, n, errors.New("no id that can be answered: expected 1 to 48 of a-z, 0-9 and inner hyphens")
	}
	n, ok := w.Do.needs()
	if !ok {
		return w, n, fmt.Errorf("do %.32q is no command", w.Do)
	}
	fits := func(name string, there, wanted bool) {
		if err == nil && there != wanted {
			if wanted {
				err = fmt.Errorf("%s needs %q", w.Do, name)
			} else {
				err = fmt.Errorf("%s takes no %q", w.Do, name)
			}
		}
	}
	fits("zone", w.Zone != "", n.zone && (!n.all || w.Zone != ""))
	fits("litres", w.Litres != nil, n.litres)
	fits("minutes", w.Minutes != nil, n.minutes)
	fits("alarm", w.Alarm != "", n.alarm)
	fits("task", w.Task != "", n.task)
	switch {
	case err != nil:
	case w.Litres != nil && (!(*w.Litres > 0) || *w.Litres > MaxLitres):
		err = fmt.Errorf("%v litres, expected more than 0 and at most %d", *w.Litres, MaxLitres)
	case w.Minutes != nil && (!(*w.Minutes > 0) || *w.Minutes > MaxShut.Minutes()):
		err = fmt.Errorf("%v minutes, expected more than 0 and at most %.0f", *w.Minutes, MaxShut.Minutes())
	case w.Alarm != "" && !garden.ValidID(w.Alarm), w.Task != "" && !garden.ValidID(w.Task):
		err = errors.New("an alarm or task is named by its id")
	}
	return w, n, err
}

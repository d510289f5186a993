package topic

import (
	"fmt"
	"strings"

	"fabricpot/control/garden"
)

// DefaultPrefix is the first level of a garden that names none.
const DefaultPrefix = "fabricpot"

// Tree is the topics of one site. The zero Tree builds nothing useful; make one
// with NewTree.
type Tree struct{ base string }

// NewTree returns the tree <prefix>/<site>. An empty prefix means
// DefaultPrefix.
func NewTree(prefix, site string) (Tree, error) {
	if prefix == "" {
		prefix = DefaultPrefix
	}
	levels := strings.Split(prefix, "/")
	if len(levels) > 3 {
		return Tree{}, fmt.Errorf("topic: prefix %q has %d levels, expected at most 3", prefix, len(levels))
	}
	for _, l := range levels {
		if !garden.ValidID(l) {
			return Tree{}, fmt.Errorf("topic: prefix %q: level %q is no identifier (a-z, 0-9 and inner hyphens)", prefix, l)
		}
	}
	if !garden.ValidID(site) {
		return Tree{}, fmt.Errorf("topic: site %q is no identifier (a-z, 0-9 and inner hyphens)", site)
	}
	return Tree{base: prefix + "/" + site}, nil
}

// Base is <prefix>/<site>.
func (t Tree) Base() string { return t.base }

// Kind says what a topic is for.
type Kind uint8

const (
	// None is a topic that is not ours.
	None Kind = iota
	// Status: whether the gateway is there. Retained, and its last will.
	Status
	// Zone: what a zone holds and does. Retained.
	Zone
	// Line: whether a line is open. Retained.
	Line
	// Delivery: what became of a pulse. An event, not retained.
	Delivery
	// Tasks: what there is to do by hand. Retained.
	Tasks
	// Alarm: one alarm, retained while it stands, empty once it is gone.
	Alarm
	// Event: something happened to an alarm. Not retained.
	Event
	// Do: commands to the gateway. Never retained.
	Do
	// Reply: the answer to one command.
	Reply
	// Probe: one moisture reading from a node.
	Probe
	// ValveSet: commands to a remote valve. Never retained.
	ValveSet
	// ValveState: what a remote valve says of itself.
	ValveState
	// WeatherDays: a daily forecast.
	WeatherDays
)

// shapes says how each kind is spelt below the base; "*" stands for its name.
// A function, not a table: the package keeps no state.
func shape(k Kind) string {
	switch k {
	case Status:
		return "status"
	case Zone:
		return "zone/*"
	case Line:
		return "line/*"
	case Delivery:
		return "delivery"
	case Tasks:
		return "tasks"
	case Alarm:
		return "alarm/*"
	case Event:
		return "event"
	case Do:
		return "do"
	case Reply:
		return "reply/*"
	case Probe:
		return "probe/*"
	case ValveSet:
		return "valve/*/set"
	case ValveState:
		return "valve/*/state"
	case WeatherDays:
		return "weather/days"
	}
	return ""
}

// Kinds lists every kind but None.
func Kinds() []Kind {
	out := make([]Kind, 0, WeatherDays)
	for k := Status; k <= WeatherDays; k++ {
		out = append(out, k)
	}
	return out
}

// Named reports whether topics of kind k carry a name.
func (k Kind) Named() bool { return strings.Contains(shape(k), "*") }

// Of builds the topic of kind k with the given name; the name must be empty
// where k carries none. It returns "" for anything that cannot be a topic, and
// the link refuses to publish on "".
func (t Tree) Of(k Kind, name string) string {
	s := shape(k)
	if t.base == "" || s == "" || k.Named() != (name != "") {
		return ""
	}
	if name == "" {
		return t.base + "/" + s
	}
	if !garden.ValidID(name) {
		return ""
	}
	return t.base + "/" + strings.Replace(s, "*", name, 1)
}

// All is the filter that covers every topic of kind k.
func (t Tree) All(k Kind) string {
	s := shape(k)
	if t.base == "" || s == "" {
		return ""
	}
	return t.base + "/" + strings.Replace(s, "*", "+", 1)
}

// Parse is the inverse of Of. Anything Of could not have built is None.
func (t Tree) Parse(topic string) (Kind, string) {
	rest, ok := strings.CutPrefix(topic, t.base)
	if !ok || t.base == "" || len(rest) < 2 || rest[0] != '/' {
		return None, ""
	}
	rest = rest[1:]
	for k := Status; k <= WeatherDays; k++ {
		before, after, named := strings.Cut(shape(k), "*")
		if !named {
			if rest == before {
				return k, ""
			}
			continue
		}
		name, ok := strings.CutPrefix(rest, before)
		if !ok {
			continue
		}
		if name, ok = strings.CutSuffix(name, after); ok && garden.ValidID(name) {
			return k, name
		}
	}
	return None, ""
}

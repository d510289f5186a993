package hub

import (
	"fmt"
	"strconv"
	"strings"
	"sync"
	"time"

	"fabricpot/control/garden"
	"fabricpot/mqtt"
	"fabricpot/mqtt/command"
	"fabricpot/mqtt/payload"
	"fabricpot/mqtt/topic"
)

// Homie describes the garden as one device of the Homie convention, version 5.0
// (its text was READ). The device needs a connection of its own, because the
// last will of a connection is one message and Homie's is "$state = lost":
// give Will, Farewell and Greeting to that link and subscribe it to Filter.
type Homie struct {
	base  string
	tree  topic.Tree
	zones map[string]Zone
	// version of the description.
	version int64

	mu     sync.Mutex
	latest Snapshot
	n      uint64
	recent map[string]time.Duration
}

// DefaultHomie is the convention's root topic.
const DefaultHomie = "homie"

// sameAgain is within which time the same command counts as repeated. The
// convention gives commands no identity.
const sameAgain = 2 * time.Second

// NewHomie returns the device of a garden, described from the first snapshot:
// its zones and whether it has a meter and a tank do not change later. The
// convention wants a higher version for every changed description: give the Unix
// second of the program's start, for the garden file is read only then.
func NewHomie(tree topic.Tree, root string, s *Snapshot, version int64) (*Homie, error) {
	if root == "" {
		root = DefaultHomie
	}
	if !garden.ValidID(root) || !garden.ValidID(s.SiteID) {
		return nil, fmt.Errorf("hub: root %q or site %q is no Homie id", root, s.SiteID)
	}
	h := &Homie{base: root + "/5/fabricpot-" + s.SiteID, tree: tree, zones: make(map[string]Zone), version: version, latest: *s, recent: make(map[string]time.Duration)}
	for _, z := range s.Zones {
		h.zones["zone-"+string(z.ID)] = z
	}
	return h, nil
}

// Filter is the subscription for commands. Quality of service 0: what does not
// arrive now must not arrive.
func (h *Homie) Filter() string { return h.base + "/+/+/set" }

// Will is the last will, Farewell the last word.
func (h *Homie) Will() mqtt.Message     { return h.state("lost") }
func (h *Homie) Farewell() mqtt.Message { return h.state("disconnected") }

func (h *Homie) state(s string) mqtt.Message {
	return mqtt.Message{Topic: h.base + "/$state", Payload: []byte(s), QoS: 1, Retain: true}
}

// Greeting is what a connection begins with, in the convention's order; the
// link has subscribed before.
func (h *Homie) Greeting() []mqtt.Message {
	h.mu.Lock()
	s := h.latest
	h.mu.Unlock()
	out := []mqtt.Message{h.state("init")}
	if d, err := h.description(&s); err == nil {
		out = append(out, d)
	}
	out = append(out, h.Values(&s)...)
	return append(out, h.state("ready"))
}

// property is one property of the description.
type property struct {
	Name     string `json:"name"`
	Datatype string `json:"datatype"`
	Format   string `json:"format,omitempty"`
	Unit     string `json:"unit,omitempty"`
	Settable bool   `json:"settable,omitzero"`
	Retained *bool  `json:"retained,omitempty"`
}

type homieNode struct {
	Name       string              `json:"name"`
	Type       string              `json:"type"`
	Properties map[string]property `json:"properties"`
}

func zoneProperties(hasLine bool) map[string]property {
	p := map[string]property{
		"water":       {Name: "Water content", Datatype: "float", Unit: "%", Format: "0:100"},
		"held":        {Name: "Water held", Datatype: "float", Unit: "L", Format: "0:"},
		"hours":       {Name: "Time until refill", Datatype: "float", Unit: "h", Format: "0:"},
		"last-at":     {Name: "Last watering", Datatype: "datetime"},
		"last-litres": {Name: "Last watering amount", Datatype: "float", Unit: "L", Format: "0:"},
		"total":       {Name: "Water total", Datatype: "float", Unit: "L", Format: "0:"},
		"feed-due":    {Name: "Feed due", Datatype: "datetime"},
		"problem":     {Name: "Problem", Datatype: "string"},
		"shut":        {Name: "Kept shut", Datatype: "boolean", Format: "released,kept shut", Settable: true},
	}
	if hasLine {
		p["valve"] = property{Name: "Line", Datatype: "boolean", Format: "closed,open", Settable: true}
	}
	return p
}

func gatewayProperties(s *Snapshot) map[string]property {
	momentary := false
	p := map[string]property{
		"automatic": {Name: "Automatic control", Datatype: "boolean", Format: "off,on", Settable: true},
		"close-all": {Name: "Close all lines", Datatype: "enum", Format: "press", Settable: true, Retained: &momentary},
		"version":   {Name: "Version", Datatype: "string"},
	}
	if s.HasMeter {
		p["supply-flow"] = property{Name: "Supply flow", Datatype: "float", Unit: "L/h", Format: "0:"}
	}
	if s.HasTank {
		p["tank"] = property{Name: "Tank", Datatype: "float", Unit: "L", Format: "0:"}
	}
	return p
}

// description is the $description document.
func (h *Homie) description(s *Snapshot) (mqtt.Message, error) {
	nodes := map[string]homieNode{"gateway": {Name: "Gateway", Type: "fabricpot-gateway", Properties: gatewayProperties(s)}}
	for _, z := range s.Zones {
		nodes["zone-"+string(z.ID)] = homieNode{Name: z.Name, Type: "fabricpot-zone", Properties: zoneProperties(z.Line != "")}
	}
	doc := struct {
		Homie   string               `json:"homie"`
		Name    string               `json:"name"`
		Version int64                `json:"version"`
		Type    string               `json:"type"`
		Nodes   map[string]homieNode `json:"nodes"`
	}{Homie: "5.0", Name: s.Name, Version: h.version, Type: "fabricpot-gateway", Nodes: nodes}
	b, err := payload.Encode(doc)
	return mqtt.Message{Topic: h.base + "/$description", Payload: b, QoS: 1, Retain: true}, err
}

// Values are the retained values of every property and the standing alerts. A
// value that is not known is taken away: the convention knows no null.
func (h *Homie) Values(s *Snapshot) []mqtt.Message {
	var out []mqtt.Message
	put := func(name, value string) {
		out = append(out, mqtt.Message{Topic: h.base + "/" + name, Payload: []byte(value), QoS: 1, Retain: true})
	}
	num := func(m garden.Measured, digits int) string {
		if !m.Known || !garden.Finite(m.Value) {
			return ""
		}
		return strconv.FormatFloat(max(0, m.Value), 'f', digits, 64)
	}
	when := func(t time.Time) string {
		if t.IsZero() {
			return ""
		}
		return t.Format(time.RFC3339)
	}
	lines := make(map[garden.LineID]Line)
	for _, l := range s.Lines {
		lines[l.ID] = l
	}
	for _, z := range s.Zones {
		n := "zone-" + string(z.ID) + "/"
		put(n+"water", num(percent(z.Water), 1))
		put(n+"held", num(z.HeldL, 1))
		put(n+"hours", num(z.HoursLeft, 0))
		put(n+"last-at", when(z.LastAt))
		put(n+"last-litres", num(z.LastL, 1))
		put(n+"total", num(z.TotalL, 1))
		put(n+"feed-due", when(z.FeedDue))
		problem := z.Problem
		if problem == "" {
			problem = "none"
		}
		put(n+"problem", problem)
		put(n+"shut", strconv.FormatBool(z.KeptShut))
		if z.Line != "" {
			value := ""
			if l := lines[z.Line]; l.Known {
				value = strconv.FormatBool(l.Open)
			}
			put(n+"valve", value)
		}
	}
	put("gateway/automatic", strconv.FormatBool(s.Automatic))
	put("gateway/version", s.Version)
	if s.HasMeter {
		put("gateway/supply-flow", num(s.SupplyLPH, 1))
	}
	if s.HasTank {
		put("gateway/tank", num(s.TankL, 1))
	}
	for _, a := range s.Alarms {
		if garden.ValidID(a.ID) {
			put("$alert/"+a.ID, strings.TrimSpace(a.Text+" "+a.Next))
		}
	}
	return out
}

// Update replaces what the next greeting says.
func (h *Homie) Update(s *Snapshot) {
	h.mu.Lock()
	h.latest = *s
	h.mu.Unlock()
}

// Take reads a command to a settable property. The reason is for the log: the
// convention has no answers.
func (h *Homie) Take(m mqtt.Message) (w command.Wish, reason string) {
	rest, ok := strings.CutPrefix(m.Topic, h.base+"/")
	parts := strings.Split(rest, "/")
	if !ok || len(parts) != 3 || parts[2] != "set" {
		return w, "not a command topic"
	}
	if m.Retain {
		return w, "a retained command may be of any age"
	}
	w, reason = h.wish(parts[0], parts[1], string(m.Payload), m.At)
	if reason != "" {
		return command.Wish{}, reason
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	key := rest + "=" + string(m.Payload)
	if last, there := h.recent[key]; there && m.At.Mono-last < sameAgain && w.Do != command.CloseAll {
		return command.Wish{}, "repeated within two seconds"
	}
	// Only known properties and values get here, so the map stays small.
	h.recent[key] = m.At.Mono
	h.n++
	w.ID = "homie-" + strconv.FormatUint(h.n, 10)
	w.Ask.Who = "hub, " + w.ID
	return w, ""
}

func (h *Homie) wish(node, prop, value string, at garden.Moment) (command.Wish, string) {
	yes := value == "true"
	if value != "true" && value != "false" && !(prop == "close-all" && value == "press") {
		return command.Wish{}, "not a value of the property"
	}
	if node == "gateway" {
		switch prop {
		case "close-all":
			if value == "press" {
				return command.Wish{Do: command.CloseAll}, ""
			}
			return command.Wish{}, "not a value of the property"
		case "automatic":
			if yes {
				return command.Wish{Do: command.AutoOn, Ask: garden.Ask{Kind: garden.AskAutoOn}}, ""
			}
			return command.Wish{Do: command.AutoOff, Ask: garden.Ask{Kind: garden.AskAutoOff}}, ""
		}
		return command.Wish{}, "no such settable property"
	}
	z, ok := h.zones[node]
	switch {
	case !ok:
		return command.Wish{}, "no such zone"
	case prop == "shut" && yes:
		return command.Wish{Do: command.KeepShut, Ask: garden.Ask{Kind: garden.AskShut, Zone: z.ID, Until: at.Add(shutMinutes * time.Minute)}}, ""
	case prop == "shut":
		return command.Wish{Do: command.Release, Ask: garden.Ask{Kind: garden.AskRelease, Zone: z.ID}}, ""
	case prop == "valve" && z.Line != "" && yes:
		return command.Wish{Do: command.Water, Ask: garden.Ask{Kind: garden.AskWater, Zone: z.ID, Litres: z.DefaultL}}, ""
	case prop == "valve" && z.Line != "":
		return command.Wish{Do: command.Stop, Target: string(z.ID)}, ""
	}
	return command.Wish{}, "no such settable property"
}

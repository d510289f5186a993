package hub

import (
	"fmt"
	"hash/fnv"
	"strings"
	"time"

	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/garden"
)

// About is what of a garden does not change while it runs.
type About struct {
	Garden *garden.Garden
	// PulseL is how much one pulse gives each zone, litres: what a hub's
	// "open" asks for.
	PulseL map[garden.ZoneID]float64
	// Version is the program's.
	Version string
}

// First is the snapshot hubs are described from.
func (a About) First() *Snapshot {
	s := &Snapshot{
		SiteID: a.Garden.Site.ID, Name: a.Garden.Site.Name, Version: a.Version, Automatic: true,
		HasMeter: len(a.Garden.Lines) > 0, HasTank: a.Garden.Supply.TankL.Known,
	}
	a.Garden.EachZone(func(_ *garden.Pot, z *garden.Zone) {
		s.Zones = append(s.Zones, Zone{ID: z.ID, Name: z.Name, Line: z.Line, DefaultL: a.defaultL(z)})
	})
	for _, l := range a.Garden.Lines {
		s.Lines = append(s.Lines, Line{ID: l.ID, Name: l.Name})
	}
	return s
}

// defaultL is a bounded amount for a hub that can only say "open".
func (a About) defaultL(z *garden.Zone) float64 {
	if l := a.PulseL[z.ID]; garden.Finite(l) && l > 0 {
		return l
	}
	return 1
}

// snapshot is a Status as hubs see it.
func (t *Tie) snapshot(st *runner.Status, rounds runner.Rounds) *Snapshot {
	s := t.about.First()
	s.Automatic = st.Automatic
	s.TankL = maybe(st.TankL)
	flow := 0.0
	for i := range s.Lines {
		if i < len(st.Lines) {
			l := &st.Lines[i]
			s.Lines[i].Open, s.Lines[i].Known = l.Open, l.Open || l.Confirmed
			if l.Open {
				flow += l.FlowLPH
			}
		}
	}
	s.SupplyLPH = garden.Known(flow)
	t.mu.Lock()
	for i := range s.Zones {
		if i < len(st.Zones) {
			zoneOf(&s.Zones[i], &st.Zones[i], st.Alarms)
			s.Zones[i].TotalL = garden.Known(t.totals[s.Zones[i].ID])
		}
	}
	t.mu.Unlock()
	for i := range rounds.Zones {
		if z := &rounds.Zones[i]; i < len(s.Zones) && z.Zone == s.Zones[i].ID && z.Fed {
			s.Zones[i].FeedDue = z.Due.NextOn
		}
	}
	for _, x := range rounds.Tasks {
		s.Tasks = append(s.Tasks, Task{ID: x.ID, Text: x.Title, Zone: x.Zone, Due: x.Due})
	}
	for _, a := range st.Alarms {
		if strings.HasPrefix(a.State, "cleared") || a.Rests() {
			continue // it stands no more; it only waits to be seen
		}
		s.Alarms = append(s.Alarms, Alarm{
			ID: alarmID(a.Name, a.About), Text: sentence(a), Next: a.Next, Since: a.Since, Acknowledged: a.State == "acknowledged",
		})
	}
	return s
}

func zoneOf(z *Zone, st *runner.ZoneStatus, alarms []runner.AlarmLine) {
	for _, s := range []garden.ZoneState{garden.Resting, garden.Pulsing, garden.Soaking, garden.KeptShut} {
		if s.String() == st.State {
			z.State = s
		}
	}
	z.Water, z.HeldL, z.HoursLeft = maybe(st.Water), maybe(st.HeldL), maybe(st.HoursLeft)
	z.KeptShut = st.ShutUntil != nil || z.State == garden.KeptShut
	if st.LastAt != nil {
		z.LastAt, z.LastL = st.LastAt.Truncate(time.Second), garden.Known(st.LastLitres)
	}
	about := map[string]bool{string(st.Zone): true, string(st.Line): st.Line != ""}
	for i := range st.Probes {
		about[string(st.Probes[i].Probe)] = true
	}
	for _, a := range alarms { // the gravest stands first
		if a.About != "" && about[a.About] && !strings.HasPrefix(a.State, "cleared") {
			z.Problem = sentence(a)
			return
		}
	}
}

func sentence(a runner.AlarmLine) string {
	if a.Text == "" {
		return a.Name
	}
	return a.Name + ": " + a.Text
}

func maybe(v *float64) garden.Measured {
	if v == nil || !garden.Finite(*v) {
		return garden.Measured{}
	}
	return garden.Known(*v)
}

// alarmID is an alarm's name in topics. One that is too long is cut and told
// from others by a sum.
func alarmID(name, about string) string {
	var b strings.Builder
	for _, c := range strings.ToLower(name + " " + about) {
		switch {
		case c >= 'a' && c <= 'z', c >= '0' && c <= '9':
			b.WriteRune(c)
		case b.Len() > 0 && !strings.HasSuffix(b.String(), "-"):
			b.WriteByte('-')
		}
	}
	id := strings.Trim(b.String(), "-")
	if len(id) <= garden.MaxIDLen {
		return id
	}
	h := fnv.New32a()
	_, _ = h.Write([]byte(name + "\x00" + about))
	return fmt.Sprintf("%s-%08x", strings.Trim(id[:garden.MaxIDLen-9], "-"), h.Sum32())
}

package garden

import (
	"fmt"
	"time"
)

// PlantEventKind is what a person did to the plants of a zone, or saw of them.
type PlantEventKind uint8

const (
	// Planted: new plants stand in the zone from that day on.
	Planted PlantEventKind = iota
	// Pruned: Share of the leaves was taken off.
	Pruned
	// Harvested: a crop was taken; Share of the leaves went with it, 0 for fruit.
	Harvested
	// Pulled: the plants are gone; an empty zone gets no water of its own.
	Pulled
	// Mulched: Share of the surface is covered from now on, 0 takes it off.
	Mulched
	// ToppedUp: Litres of mix were added; the zone's whole volume is all of it new.
	ToppedUp
	// Moved: the pot stands in Exposure from now on.
	Moved
	// SeenAt: the gardener sees the plants in Stage, such as "fruiting".
	SeenAt
)

var plantEvents = [...]string{"planted", "pruned", "harvested", "pulled", "mulched", "topped up", "moved", "seen"}

func (k PlantEventKind) String() string {
	if int(k) < len(plantEvents) {
		return plantEvents[k]
	}
	return "unknown"
}

// PlantEventNamed finds a kind by its name; "-" and "_" count as a space.
func PlantEventNamed(name string) (PlantEventKind, bool) {
	b := []byte(name)
	for i, c := range b {
		switch {
		case c == '-' || c == '_':
			b[i] = ' '
		case c >= 'A' && c <= 'Z':
			b[i] = c + 'a' - 'A'
		}
	}
	for k, n := range plantEvents {
		if n == string(b) {
			return PlantEventKind(k), true
		}
	}
	return 0, false
}

// PlantEvent is one such event. It changes canopy, rooting and need of its zone
// from its day on.
type PlantEvent struct {
	Kind PlantEventKind `json:"kind"`
	Zone ZoneID         `json:"zone"`
	// Crop names which of the zone's plants; empty means all of them.
	Crop string `json:"crop,omitempty"`
	// On is when it happened; zero means now.
	On time.Time `json:"on,omitzero"`
	// Share is 0..1: of leaves taken off, or of surface covered.
	Share float64 `json:"share,omitempty"`
	// Count is how many were planted; 0 leaves the garden file's count.
	Count int `json:"count,omitempty"`
	// Litres of mix that were added.
	Litres   float64  `json:"litres,omitempty"`
	Exposure Exposure `json:"exposure,omitempty"`
	Stage    string   `json:"stage,omitempty"`
}

// Check refuses an event that can't be. Whether zone, crop and stage exist is the
// plan's to say.
func (e *PlantEvent) Check() error {
	if int(e.Kind) >= len(plantEvents) {
		return fmt.Errorf("plant event: kind %d is unknown", e.Kind)
	}
	if e.Zone == "" {
		return fmt.Errorf("plant event: no zone named; expected one pot or zone")
	}
	if !Finite(e.Share) || e.Share < 0 || e.Share > 1 {
		return fmt.Errorf("plant event: a share of %.4g %%, expected 0 to 100 %%", 100*e.Share)
	}
	if e.Count < 0 || e.Count > 500 {
		return fmt.Errorf("plant event: %d plants, expected 1 to 500", e.Count)
	}
	if !Finite(e.Litres) || e.Litres < 0 || e.Kind == ToppedUp && e.Litres == 0 {
		return fmt.Errorf("plant event: %v L of mix, expected over 0", e.Litres)
	}
	if e.Kind == Moved && e.Exposure != Sheltered && e.Exposure != OpenAir && e.Exposure != WindyPaved {
		return fmt.Errorf("plant event: exposure is %.40q, expected %s, %s or %s", e.Exposure, Sheltered, OpenAir, WindyPaved)
	}
	if e.Kind == SeenAt && e.Stage == "" {
		return fmt.Errorf("plant event: no stage named; expected one such as fruiting")
	}
	return nil
}

// OldestPlantEvent is how far back an event may lie: longer than most crops stand.
const OldestPlantEvent = 366 * 24 * time.Hour

// CheckDay refuses a day that lies ahead of now or too far back.
func (e *PlantEvent) CheckDay(now time.Time) error {
	switch day := e.On.Format(time.DateOnly); {
	case e.On.IsZero():
	case e.On.After(now):
		return fmt.Errorf("plant event: %s lies ahead; say it when it is done", day)
	case e.On.Before(now.Add(-OldestPlantEvent)):
		return fmt.Errorf("plant event: %s is too long ago, expected a day of the last year", day)
	}
	return nil
}

// AllNew tells that all mix in a zone of that many litres is new. A pot whose mix has sunk
// takes a tenth or two; litres are not measured to the last twentieth.
func (e *PlantEvent) AllNew(volumeL float64) bool {
	return e.Kind == ToppedUp && e.Litres >= 0.95*volumeL
}

// String says it in words.
func (e *PlantEvent) String() string {
	s := e.Kind.String()
	if e.Crop != "" {
		s = e.Crop + " " + s
	}
	switch e.Kind {
	case Pruned, Harvested:
		if e.Share > 0 {
			s += fmt.Sprintf(", %.0f %% of the leaves", 100*e.Share)
		}
	case Mulched:
		s += fmt.Sprintf(", %.0f %% of the surface", 100*e.Share)
	case ToppedUp:
		s += fmt.Sprintf(" with %.1f L of mix", e.Litres)
	case Moved:
		s += fmt.Sprintf(" to a place that is %s", e.Exposure)
	case SeenAt:
		s += " " + e.Stage
	}
	return s
}

package policy

import (
	"time"

	"fabricpot/control/garden"
)

const (
	// timerAt is when timers start. Common practice, no source.
	timerAt = 6 * time.Hour
	// rainStopMM within rainStopFor keeps a rain stop's timer off: rain sensors
	// are usually set to about a quarter of an inch. Common practice, no source.
	rainStopMM  = 6.0
	rainStopFor = 24 * time.Hour
)

// timer runs every line a while each morning.
type timer struct {
	garden *garden.Garden
	start  int
	setFor func(day int) []time.Duration
	rainMM float64 // 0: no rain stop
	rain   []shower
	day    int
	owed   []time.Duration
	asked  []bool
}

type shower struct {
	at time.Duration
	mm float64
}

func newTimer(f Facts, setFor func(day int) []time.Duration, rainMM float64) *timer {
	return &timer{garden: f.Garden, start: dayNumber(f.Start), setFor: setFor, rainMM: rainMM, day: -1,
		owed: make([]time.Duration, len(f.Garden.Lines)), asked: make([]bool, len(f.Garden.Lines))}
}

// Step starts the morning's run and asks again for what is still owed: lines
// wait for one another where the supply can't carry all.
func (t *timer) Step(s *Sight, out *Orders) {
	t.heed(s)
	now := s.Now
	if today := dayNumber(now.Wall) - t.start; today != t.day && now.Wall.Sub(midnight(now.Wall)) >= timerAt {
		t.day = today
		clear(t.owed)
		if t.rainMM == 0 || t.recentRain(now) < t.rainMM {
			copy(t.owed, t.setFor(today))
		}
	}
	for i := range t.owed {
		if l := &t.garden.Lines[i]; t.owed[i] >= time.Second && !t.asked[i] {
			out.Water = append(out.Water, garden.Order{Line: l.ID, Zone: l.Outlets[0].Zone,
				Litres: l.FlowLPH() * t.owed[i].Hours(), MaxOn: t.owed[i], Kind: garden.Irrigate})
			t.asked[i] = true
		}
	}
}

// heed takes in what became of orders, and rain.
func (t *timer) heed(s *Sight) {
	for i := range t.garden.Lines {
		id := t.garden.Lines[i].ID
		for _, d := range s.Delivered {
			if d.Line == id {
				t.owed[i] = max(0, t.owed[i]-d.Open)
				t.asked[i] = false
			}
		}
		for _, r := range s.Refused {
			if r.Line == id {
				t.asked[i] = false
				if r.Cause == garden.CapReached {
					t.owed[i] = 0
				}
			}
		}
	}
	if s.RainMM > 0 && t.rainMM > 0 {
		t.rain = append(t.rain, shower{s.Now.Mono, s.RainMM})
	}
}

// recentRain is what fell within the last day, mm.
func (t *timer) recentRain(now garden.Moment) float64 {
	sum, keep := 0.0, t.rain[:0]
	for _, r := range t.rain {
		if now.Mono-r.at < rainStopFor {
			sum += r.mm
			keep = append(keep, r)
		}
	}
	t.rain = keep
	return sum
}

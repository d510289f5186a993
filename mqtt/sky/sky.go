// Package sky takes the weather from stations and services that publish it over
// the broker.
//
// Every input names its unit, and is converted once, here. What is older than
// MaxAge is absent, not repeated; rain counts once. Values no weather can have
// are refused: a unit that is not the one named is the usual cause.
package sky

import (
	"context"
	"fmt"
	"math"
	"sync"
	"time"

	"fabricpot/control/garden"
	"fabricpot/mqtt"
	"fabricpot/mqtt/payload"
	"fabricpot/mqtt/topic"
)

const (
	// MaxAge is how old the present weather may be.
	MaxAge = 30 * time.Minute
	// MaxDayAge is how old a forecast may be.
	MaxDayAge = 36 * time.Hour
	// maxRain is the most rain one message may bring, mm. The wettest hour
	// recorded anywhere brought about 400 (from memory).
	maxRain = 500
)

// input is one checked garden.SkyInput.
type input struct {
	garden.SkyInput
	topic         string
	scale, offset float64
	lo, hi        float64 // what weather can be, after conversion

	value   float64
	at      garden.Moment
	have    bool
	counter float64 // last value of a rain counter
	counted bool
}

// Sky is the weather as it was last heard.
type Sky struct {
	zone    *time.Location
	inputs  []*input
	mu      sync.Mutex
	rainMM  float64
	rained  bool
	days    []garden.DayWeather
	daysAt  garden.Moment
	refused uint64
	lastErr string
}

// New checks the inputs. Every problem is reported, and those without are used.
func New(tree topic.Tree, inputs []garden.SkyInput, zone *time.Location) (*Sky, []error) {
	s := &Sky{zone: zone}
	if zone == nil {
		s.zone = time.UTC
	}
	var errs []error
	for _, in := range inputs {
		x := &input{SkyInput: in, topic: in.Topic}
		if in.Quantity == garden.SkyDays && in.Topic == "" {
			x.topic = tree.Of(topic.WeatherDays, "")
		}
		var ok bool
		x.scale, x.offset, x.lo, x.hi, ok = unit(in.Quantity, in.Unit)
		switch {
		case !ok:
			errs = append(errs, fmt.Errorf("weather on %s: %q in %q is not known", x.topic, in.Quantity, in.Unit))
		case !topic.ValidName(x.topic):
			errs = append(errs, fmt.Errorf("weather: %q cannot be subscribed to as one topic", x.topic))
		case !payload.ValidPointer(in.Path):
			errs = append(errs, fmt.Errorf("weather on %s: %q is no JSON pointer", x.topic, in.Path))
		default:
			s.inputs = append(s.inputs, x)
		}
	}
	return s, errs
}

// unit says how a unit becomes ours: value × scale + offset.
func unit(q garden.SkyQuantity, u string) (scale, offset, lo, hi float64, ok bool) {
	switch string(q) + " " + u {
	case "temperature C":
		return 1, 0, -60, 60, true
	case "temperature F":
		return 5.0 / 9, -32 * 5.0 / 9, -60, 60, true
	case "humidity %":
		return 1, 0, 0, 100, true
	case "wind m/s":
		return 1, 0, 0, 90, true
	case "wind km/h":
		return 1 / 3.6, 0, 0, 90, true
	case "wind mph":
		// The international mile has 1609.344 m.
		return 1609.344 / 3600, 0, 0, 90, true
	case "wind kn":
		// The international nautical mile has 1852 m.
		return 1852.0 / 3600, 0, 0, 90, true
	case "radiation W/m2":
		return 1, 0, -20, 1600, true
	case "rain mm", "rain-total mm":
		return 1, 0, 0, math.Inf(1), true
	case "rain in", "rain-total in":
		return 25.4, 0, 0, math.Inf(1), true
	case "days ":
		return 1, 0, 0, 0, true
	}
	return 0, 0, 0, 0, false
}

// Filters are the subscriptions the sky lives on. The forecast may be retained.
func (s *Sky) Filters() []string {
	var out []string
	seen := map[string]bool{}
	for _, in := range s.inputs {
		if !seen[in.topic] {
			seen[in.topic] = true
			out = append(out, in.topic)
		}
	}
	return out
}

// Run takes messages until the context ends. Start one for each inbox.
func (s *Sky) Run(ctx context.Context, in *mqtt.Inbox) {
	for {
		select {
		case <-ctx.Done():
			return
		case m := <-in.C():
			s.Take(m)
		}
	}
}

// Take reads one message.
func (s *Sky) Take(m mqtt.Message) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, in := range s.inputs {
		if in.topic != m.Topic {
			continue
		}
		var err error
		if in.Quantity == garden.SkyDays {
			err = s.takeDays(m)
		} else {
			err = s.take(in, m)
		}
		if err != nil {
			s.refused++
			s.lastErr = fmt.Sprintf("weather on %s: %v", in.topic, err)
		}
	}
}

func (s *Sky) take(in *input, m mqtt.Message) error {
	var v float64
	var err error
	if in.Path == "" {
		v, err = payload.Number(m.Payload)
	} else {
		values, found := []float64{0}, []bool{false}
		if err = payload.Values(m.Payload, []string{in.Path}, values, found); err == nil && !found[0] {
			err = fmt.Errorf("nothing at %q", in.Path)
		}
		v = values[0]
	}
	if err != nil {
		return err
	}
	if v = v*in.scale + in.offset; !(v >= in.lo && v <= in.hi) {
		return fmt.Errorf("%s is %.4g, expected %g to %g: is the unit right?", in.Quantity, v, in.lo, in.hi)
	}
	switch in.Quantity {
	case garden.SkyRain:
		if m.Retain || m.Duplicate {
			return nil // counted when it fell
		}
		return s.rain(v)
	case garden.SkyRainTotal:
		fell := v - in.counter
		first := !in.counted
		in.counter, in.counted = v, true
		if first {
			return nil
		}
		if fell < 0 {
			fell = v // the counter began again
		}
		return s.rain(fell)
	}
	if m.Retain {
		return nil // of any age
	}
	in.value, in.at, in.have = v, m.At, true
	return nil
}

func (s *Sky) rain(mm float64) error {
	if mm > maxRain {
		return fmt.Errorf("%.4g mm of rain at once, expected at most %d", mm, maxRain)
	}
	s.rainMM += mm
	s.rained = true
	return nil
}

// Now is the present weather. Rain is what fell since the last call.
func (s *Sky) Now(now garden.Moment) garden.WeatherNow {
	s.mu.Lock()
	defer s.mu.Unlock()
	w := garden.WeatherNow{At: now}
	for _, in := range s.inputs {
		if !in.have || now.Since(in.at) > MaxAge {
			continue
		}
		v := garden.Known(in.value)
		switch in.Quantity {
		case garden.SkyTemperature:
			w.TempC = v
		case garden.SkyHumidity:
			w.RH = v
		case garden.SkyWind:
			w.WindMS = v
		case garden.SkyRadiation:
			// Pyranometers read a little below nothing at night.
			w.SolarWM = garden.Known(max(0, in.value))
		}
	}
	if s.rained {
		w.RainMM = garden.Known(s.rainMM)
		s.rainMM, s.rained = 0, false
	}
	return w
}

// Refused counts messages that could not be used, and says what was wrong with
// the last one.
func (s *Sky) Refused() (n uint64, last string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.refused, s.lastErr
}

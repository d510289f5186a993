package runner

import (
	"errors"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/control"
	"fabricpot/control/alarm"
	"fabricpot/control/garden"
)

// batchTicks is how many ticks' samples are written together: a card lives
// longer with one transaction in ten minutes than with ten.
const batchTicks = 10

// WeatherKeeper is a Recorder that keeps the weather of each tick as well.
type WeatherKeeper interface {
	Weather(now garden.Moment, today garden.DayWeather, w garden.WeatherNow)
}

// Keeper records into the journal. Intents and outcomes go through at once,
// samples in batches; Close writes what is left.
type Keeper struct {
	*journal.Journal
	batch journal.Batch
	ticks int
	// sky adds up the weather of the ticks that make a batch.
	sky     journal.SkySample
	airSum  float64
	airs    int
	weather bool
	unkept  error // see NewUnkept
	beside  *journal.Beside
	begun   bool // and this start is noted there alone
}

// NewKeeper returns a Recorder on an open journal.
func NewKeeper(j *journal.Journal) *Keeper { return &Keeper{Journal: j} }

// Samples keeps one tick, and writes when enough have come together. Samples
// that can't be written are given up: the next batch must not grow for ever.
func (k *Keeper) Samples(now garden.Moment, readings []garden.Reading, zones []control.ZoneView) error {
	k.batch.Readings = append(k.batch.Readings, readings...)
	for i := range zones {
		v := &zones[i]
		s := journal.ZoneSample{
			Zone: v.Zone, At: now, State: v.State,
			Capacity: garden.Known(float64(v.Capacity)),
		}
		if !v.Empty { // nothing is to be kept over it there
			s.Refill = garden.Known(float64(v.Refill))
		}
		if v.Known {
			s.Water, s.SD = garden.Known(float64(v.Water)), garden.Known(v.SD)
		}
		k.batch.Zones = append(k.batch.Zones, s)
	}
	if k.ticks++; k.ticks < batchTicks {
		return k.unkept
	}
	return errors.Join(k.unkept, k.Write())
}

// Weather keeps one tick's weather: rain is added up and air averaged over the
// ticks of a batch.
func (k *Keeper) Weather(now garden.Moment, today garden.DayWeather, w garden.WeatherNow) {
	k.sky.At, k.weather = now, true
	k.sky.DayMinC, k.sky.DayMaxC, k.sky.DayRainMM = today.TMinC, today.TMaxC, today.RainMM
	if w.RainMM.Known && garden.Finite(w.RainMM.Value) && w.RainMM.Value >= 0 {
		k.sky.RainMM = garden.Known(k.sky.RainMM.Or(0) + w.RainMM.Value)
	}
	if w.TempC.Known {
		k.airSum, k.airs = k.airSum+w.TempC.Value, k.airs+1
	}
}

// Write writes the samples that wait for their batch to fill.
func (k *Keeper) Write() error {
	if k.weather {
		if k.airs > 0 {
			k.sky.AirC = garden.Known(k.airSum / float64(k.airs))
		}
		k.batch.Skies = append(k.batch.Skies, k.sky)
	}
	err := k.AddSamples(k.batch)
	k.batch.Readings, k.batch.Zones, k.batch.Skies, k.ticks = k.batch.Readings[:0], k.batch.Zones[:0], k.batch.Skies[:0], 0
	k.sky, k.airSum, k.airs, k.weather = journal.SkySample{}, 0, 0, false
	if err == nil {
		err = k.carry()
	}
	return err
}

// Decided keeps an order or refusal with its reason in words.
func (k *Keeper) Decided(now garden.Moment, o garden.Order, cause garden.RefusalCause, what string) error {
	return k.AddDecision(journal.Decision{At: now, Zone: o.Zone, Line: o.Line, Order: o.ID, Cause: cause, Text: what})
}

// Asked keeps what a person or hub asked for.
func (k *Keeper) Asked(now garden.Moment, a garden.Ask) error {
	if a.Kind == garden.AskPlant {
		return k.AddPlantEvent(now, a.Plant, a.Who)
	}
	return k.asked(now, a)
}

// Alarmed keeps one step of an alarm's life.
func (k *Keeper) Alarmed(c alarm.Change) error {
	return k.AddAlarm(journal.AlarmEvent{
		At: c.At, Kind: c.Kind.String(), Subject: c.Subject, Event: c.Event.String(), Text: c.Text, Who: c.Who,
	})
}

// Close writes what is left and closes the journal.
func (k *Keeper) Close() error {
	err := k.Write()
	if closing := k.Journal.Close(); err == nil {
		err = closing
	}
	return err
}

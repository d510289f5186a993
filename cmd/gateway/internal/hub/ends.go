package hub

import (
	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/alarm"
	"fabricpot/control/garden"
	"fabricpot/mqtt/probe"
	"fabricpot/mqtt/sky"
	"fabricpot/valves"
)

// Ends is what a garden's loop has at the far end of its broker. It also stands
// in where the broker could not be set up at all: remote probes are then
// missing, remote lines never open, and the alarm says why.
type Ends struct {
	r     *Remote // nil where there is none
	why   string  // why there is none
	clock func() garden.Moment
}

// NewEnds returns the far ends of r; where it is nil, why says so to a person.
// clock is the clock that r was opened with.
func NewEnds(r *Remote, why string, clock func() garden.Moment) *Ends {
	return &Ends{r: r, why: why, clock: clock}
}

// Valve is a remote line's actuator.
func (e *Ends) Valve(id garden.LineID) valves.Actuator {
	if e.r != nil {
		if a := e.r.Valves[id]; a != nil {
			return a
		}
	}
	return valves.Unassigned{}
}

// Sampler joins the remote probes to the wired ones.
func (e *Ends) Sampler(g *garden.Garden, wired runner.WiredSampler) (runner.Sampler, error) {
	var from readings = unheard{}
	if e.r != nil {
		from = e.r.Probes
	}
	return newSampler(g, from, e.clock, wired)
}

// unheard are the readings of a garden whose broker is not there.
type unheard struct{}

func (unheard) Reading(id garden.ProbeID, now garden.Moment, _ probe.Convert) garden.Reading {
	return garden.Reading{Probe: id, At: now, Fault: garden.Missing}
}

// Sky adds the weather that arrives.
func (e *Ends) Sky(base runner.Sky) runner.Sky {
	if e.r == nil || len(e.r.Sky.Filters()) == 0 {
		return base
	}
	return &farSky{base: base, far: e.r.Sky, clock: e.clock}
}

// Worries are a lost broker and remote valves that do not do as they are told.
func (e *Ends) Worries() []runner.Worry {
	if e.r == nil {
		return []runner.Worry{{Kind: alarm.LinkLost, Text: e.why}}
	}
	st := e.r.Status()
	return runner.FarWorries(st.Connected, st.LastError, e.r.Troubles())
}

// farSky is the weather of a station or service over another's.
type farSky struct {
	base  runner.Sky
	far   *sky.Sky
	clock func() garden.Moment
}

// Observe fills in what is known nearer than the usual day.
func (s *farSky) Observe(now garden.Moment, obs *garden.Observed) {
	s.base.Observe(now, obs)
	here := s.clock()
	over := func(to *garden.Measured, from garden.Measured) {
		if from.Known {
			*to = from
		}
	}
	w := s.far.Now(here)
	over(&obs.Now.TempC, w.TempC)
	over(&obs.Now.RH, w.RH)
	over(&obs.Now.WindMS, w.WindMS)
	over(&obs.Now.SolarWM, w.SolarWM)
	over(&obs.Now.RainMM, w.RainMM)
	// Ages count on the link's clock, dates on the garden's.
	days := s.far.Days(garden.Moment{Mono: here.Mono, Wall: now.Wall, Synced: now.Synced})
	if len(days) == 0 {
		return
	}
	if y, m, d := now.Wall.Date(); now.Synced {
		if ty, tm, td := days[0].Date.Date(); y == ty && m == tm && d == td {
			over(&obs.Today.TMinC, days[0].TMinC)
			over(&obs.Today.TMaxC, days[0].TMaxC)
			over(&obs.Today.RainMM, days[0].RainMM)
			over(&obs.Today.WindMS, days[0].WindMS)
			over(&obs.Today.SolarMJ, days[0].SolarMJ)
			over(&obs.Today.RHMean, days[0].RHMean)
			days = days[1:]
		}
	}
	if len(days) > 0 {
		obs.Ahead = days
	}
}

var _ runner.Far = (*Ends)(nil)

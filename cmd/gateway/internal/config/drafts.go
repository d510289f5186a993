package config

import (
	"time"

	"fabricpot/control/garden"
)

// draft is the file as written: sections decoded, references still names.
type draft struct {
	site     garden.Site
	mixes    []entry[garden.Mix]
	crops    []entry[cropDraft]
	products []entry[productDraft]
	hose     garden.Measured
	calling  garden.Calling
	pots     []entry[potDraft]
	lines    []entry[lineDraft]
	supply   garden.Supply
	rain     garden.RainBucket
	limits   garden.Limits
	hardware garden.Hardware
	broker   garden.Broker
	sample   time.Duration
	byHeat   bool
	journal  string
}

type cropDraft struct {
	garden.OwnCrop
	stages []time.Duration
}

type productDraft struct {
	garden.Product
	brings []string
}

// potDraft carries the keys of its only zone itself, or zones.
type potDraft struct {
	name string
	mix  garden.MixID
	size sizeDraft
	zoneDraft
	zones []entry[zoneDraft]
}

type zoneDraft struct {
	garden.Zone
	share  garden.Measured
	hand   bool
	probes []entry[garden.Probe]
}

type lineDraft struct {
	garden.Line
	valve  valveDraft
	waters []entry[garden.Outlet]
}

type valveDraft struct {
	garden.Valve
	latch  garden.Latch
	remote string
}

// newDraft holds the defaults of a file that says nothing more.
func newDraft() draft {
	return draft{
		limits:   garden.DefaultLimits(),
		hardware: garden.Hardware{Kind: garden.Bench, Burst: 5},
		sample:   time.Minute,
		supply:   newSupply(),
		rain:     garden.RainBucket{Contact: newContact(0)},
		calling:  garden.DefaultCalling(),
	}
}

func newMix() garden.Mix {
	return garden.Mix{Calibration: garden.Calibration{TempRefC: 20}}
}

func newLine() lineDraft { return lineDraft{Line: garden.Line{DU: 0.9}} }

func newProbe() garden.Probe {
	return garden.Probe{Calibration: garden.Calibration{TempRefC: 20}}
}

func zero[V any]() V {
	var v V
	return v
}

package garden

import (
	"strings"
	"time"
)

// Shape is a pot's inside, a frustum filled to HeightCM. All in cm.
type Shape struct {
	// HeightCM is the depth of mix, not of fabric.
	HeightCM float64
	// BottomDiameterCM and TopDiameterCM are equal for a cylinder.
	BottomDiameterCM, TopDiameterCM float64
}

// Pot is a fabric container of mix with one or several root zones side by side.
type Pot struct {
	ID   PotID
	Name string
	Mix  MixID
	// Shape holds VolumeL of mix.
	Shape   Shape
	VolumeL float64
	Zones   []Zone
}

// Zone is a root zone: the part of a pot that is watered and judged as one. It
// reaches from the top of the mix to the floor.
type Zone struct {
	ID   ZoneID
	Pot  PotID
	Name string
	// Share of the pot's volume and area, 0..1; the shares of a pot sum to 1.
	Share  float64
	Plants []Plant
	Probes []Probe
	// Thermometer is the name of a 1-wire thermometer in the zone's mix; empty
	// means none.
	Thermometer string
	// Line waters the zone; empty means a person does.
	Line LineID
	// Exposure is where the zone stands.
	Exposure Exposure
	// What the gardener measured or wants. It wins over the mix's curve.
	Capacity    Measured // water fraction at container capacity
	LowerLimit  Measured // practical lower limit, water fraction
	RefillPoint Measured // water fraction at which watering starts
	StopPoint   Measured // water fraction aimed at
	// LeachingFraction is the share of water meant to drain, 0..0.4. LeachByNeed tells
	// that none was asked for: where the supply's conductivity and what the plants bear
	// are known, as much drains in its place as salts ask for.
	LeachingFraction float64
	LeachByNeed      bool
	// Feed is how the zone is fed.
	Feed FeedPlan
}

// Exposure is how a pot's surroundings change its demand against a field's.
type Exposure string

const (
	// Sheltered: out of the wind, part shade.
	Sheltered Exposure = "sheltered"
	// OpenAir: as a weather station would see it.
	OpenAir Exposure = "open"
	// WindyPaved: wind and hot paving around a lone pot.
	WindyPaved Exposure = "windy-paved"
)

// Plant is a group of like plants in a zone.
type Plant struct {
	// Crop is a name of the crop library or of an OwnCrop.
	Crop  string
	Count int
	// PlantedOn is midnight of the day; zero means grown already.
	PlantedOn time.Time
	// CanopyM2 is the canopy of one grown plant seen from above, m²; absent
	// means the crop's own.
	CanopyM2 Measured
}

// Outlives tells that the garden file has some of the plants that a pull at now names
// planted on its day or after it: those stand, and others before them were pulled. Who
// pulls and plants on one day pulls first.
func (z *Zone) Outlives(e *PlantEvent, now time.Time) bool {
	if !e.On.IsZero() {
		now = e.On
	}
	for i := range z.Plants {
		pl := &z.Plants[i]
		if e.Kind == Pulled && (e.Crop == "" || strings.EqualFold(e.Crop, pl.Crop)) &&
			pl.PlantedOn.Format(time.DateOnly) >= now.Format(time.DateOnly) {
			return true
		}
	}
	return false
}

// OwnCrop is a crop of the garden file, used by its name before the library's.
type OwnCrop struct {
	Name                string
	KcIni, KcMid, KcEnd float64
	// StageDays are the lengths of the initial, development, mid and late stage.
	StageDays [4]int
	// P is the depletion fraction at ETc ≈ 5 mm/d, 0.1..0.8.
	P        float64
	HeightM  float64
	CanopyM2 float64
}

// Probe is a capacitive moisture probe in a zone.
type Probe struct {
	ID   ProbeID
	Zone ZoneID
	// DepthCM is the middle of the sensing length under the mix's surface.
	DepthCM float64
	Input   Input
	// Remote is set where the probe's readings arrive over the broker; Input
	// then means nothing.
	Remote *RemoteInput
	// Calibration replaces the mix's where its Kind is set.
	Calibration Calibration
}

// Input is where a probe is wired.
type Input struct {
	// Bus is a name of the bus the chip is on; empty means the first. "iio/NAME"
	// is a converter that the kernel drives, which has no address.
	Bus string
	// Addr is the converter's address, 0x48..0x4B.
	Addr uint16
	// Channel is 0..3, of a converter that the kernel drives 0..31.
	Channel int
}

// KernelBus is how Bus begins for a converter that the kernel drives.
const KernelBus = "iio/"

// Kernel is the name of the converter where the kernel drives it.
func (in Input) Kernel() (name string, ok bool) { return strings.CutPrefix(in.Bus, KernelBus) }

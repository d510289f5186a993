package config

import (
	"time"

	"fabricpot/cmd/gateway/internal/units"
	"fabricpot/control/garden"
)

// The tables below are the garden file: every key, what it means to a gardener,
// whether it must be there, what may stand there and where it goes.

func gardenTable() object[*draft] {
	return object[*draft]{"the garden file", []field[*draft]{
		{"site", "where the garden is", true, in(siteTable(), func(d *draft) *garden.Site { return &d.site })},
		{"sample-every", "how often probes are read and decisions made", false, of(span(5*time.Second, 15*time.Minute), func(d *draft) *time.Duration { return &d.sample })},
		{"stages-by-heat", "whether warm days bring crops forward and cool ones hold them back", false, of(yesNo(), func(d *draft) *bool { return &d.byHeat })},
		{"mixes", "the potting mixes, by name", true, byID("a mix", mixTable(), newMix, func(d *draft) *[]entry[garden.Mix] { return &d.mixes })},
		{"crops", "crops of your own, by name; they win over the library's", false, byID("a crop", cropTable(), zero, func(d *draft) *[]entry[cropDraft] { return &d.crops })},
		{"products", "the fertilisers on the shelf, by name", false, byID("a product", productTable(), zero, func(d *draft) *[]entry[productDraft] { return &d.products })},
		{"hose", "the flow of the gardener's hose, measured with a bucket", false, maybe(quantity(units.Flow(), 10, 20000), func(d *draft) *garden.Measured { return &d.hose })},
		{"pots", "the pots, by name", true, byID("a pot", potTable(), zero, func(d *draft) *[]entry[potDraft] { return &d.pots })},
		{"lines", "the irrigation lines, by name: one valve and its emitters each", false, byID("a line", lineTable(), newLine, func(d *draft) *[]entry[lineDraft] { return &d.lines })},
		{"supply", "what the lines draw from", false, in(supplyTable(), func(d *draft) *garden.Supply { return &d.supply })},
		{"rain-gauge", "a tipping bucket on the terrace", false, in(rainTable(), func(d *draft) *garden.RainBucket { return &d.rain })},
		{"limits", "bounds on whatever is delivered, whoever asks", false, in(limitsTable(), func(d *draft) *garden.Limits { return &d.limits })},
		{"hardware", "the board, or the bench of the simulator", false, in(hardwareTable(), func(d *draft) *garden.Hardware { return &d.hardware })},
		{"broker", "the message broker for hubs and for devices that are far away; absent means none", false, in(brokerTable(), func(d *draft) *garden.Broker { return &d.broker })},
		{"alarms", "how alarms reach a person who is not looking; page and hub show them in any case", false, in(callingTable(), func(d *draft) *garden.Calling { return &d.calling })},
		{"journal", "the file the journal is kept in", false, of(line("a file name"), func(d *draft) *string { return &d.journal })},
	}}
}

func siteTable() object[*garden.Site] {
	return object[*garden.Site]{"a site", []field[*garden.Site]{
		{"name", "the site's name, for people", true, of(line("a name"), func(s *garden.Site) *string { return &s.Name })},
		{"id", "the site's name in topics; made from name if absent", false, of(id[string]("the site"), func(s *garden.Site) *string { return &s.ID })},
		{"latitude", "decimal degrees, north positive", true, of(coordinate("a latitude", 90, "N", "S", "40.64"), func(s *garden.Site) *float64 { return &s.LatDeg })},
		{"longitude", "decimal degrees, east positive", true, of(coordinate("a longitude", 180, "E", "W", "22.94"), func(s *garden.Site) *float64 { return &s.LonDeg })},
		{"elevation", "height above the sea", true, of(quantity(units.Altitude(), -430, 9000), func(s *garden.Site) *float64 { return &s.ElevationM })},
		{"time-zone", "the clock on the wall, such as Europe/Athens", true, of(timeZone(), func(s *garden.Site) **time.Location { return &s.Zone })},
		{"coastal", "whether a sea or a large lake is near", false, of(yesNo(), func(s *garden.Site) *bool { return &s.Coastal })},
	}}
}

func supplyTable() object[*garden.Supply] {
	return object[*garden.Supply]{"the supply", append([]field[*garden.Supply]{
		{"flow", "the most it can carry at once, measured with a bucket", true, of(quantity(units.Flow(), 0.5, 20000), func(s *garden.Supply) *float64 { return &s.FlowLPH })},
		{"hours", "windows of the day when watering is allowed; absent means always", false, list("windows of the day, such as 05:00-09:30", of(hours(), self[garden.DayWindow]), func(s *garden.Supply) *[]garden.DayWindow { return &s.Hours })},
		{"tank", "the usable volume of a tank; absent for mains", false, maybe(quantity(units.Volume(), 1, 100000), func(s *garden.Supply) *garden.Measured { return &s.TankL })},
		{"tank-reserve", "what is kept back in the tank", false, of(quantity(units.Volume(), 0, 100000), func(s *garden.Supply) *float64 { return &s.TankReserveL })},
		{"pressure", "the working pressure at the emitters", false, maybe(quantity(units.Pressure(), 5, 1000), func(s *garden.Supply) *garden.Measured { return &s.PressureKPa })},
		{"conductivity", "the water's own electrical conductivity", false, maybe(quantity(units.Conductivity(), 0, 20), func(s *garden.Supply) *garden.Measured { return &s.ECmS })},
	}, gaugeFields()...)}
}

func limitsTable() object[*garden.Limits] {
	return object[*garden.Limits]{"the limits", []field[*garden.Limits]{
		{"max-on", "the longest any line may stay open at a time", false, of(span(time.Minute, 6*time.Hour), func(l *garden.Limits) *time.Duration { return &l.MaxOn })},
		{"min-rest", "the shortest time between two openings of a line", false, of(span(0, 6*time.Hour), func(l *garden.Limits) *time.Duration { return &l.MinRest })},
		{"daily-factor", "a line's daily cap over its zones' need on a hot day; a dry pot's fill and that need pass in any case", false, of(number("a factor", 2, 10), func(l *garden.Limits) *float64 { return &l.DailyFactor })},
		{"frost", "the temperature under which the lines lock", false, of(quantity(units.Temperature(), -5, 15), func(l *garden.Limits) *float64 { return &l.FrostC })},
		{"survival", "the daily dose when automatic control is off, as a share of the zone's volume", false, of(quantity(units.Fraction(), 0, 0.2), func(l *garden.Limits) *float64 { return &l.SurvivalShare })},
		{"no-journal-doses", "survival doses a line may give at once while the journal can't be written, then it is one a day; 0 is none at all", false, of(whole("a count", 0, 20), func(l *garden.Limits) *int { return &l.NoJournalDoses })},
	}}
}

func hardwareTable() object[*garden.Hardware] {
	return object[*garden.Hardware]{"the hardware", []field[*garden.Hardware]{
		{"kind", "bench for the simulator, board for real buses and pins", true, of(choice("a kind of hardware", garden.Bench, garden.Board), func(h *garden.Hardware) *string { return &h.Kind })},
		{"i2c-bus", "the bus of the probes' converters, such as /dev/i2c-1", false, of(line("a bus"), func(h *garden.Hardware) *string { return &h.I2CBus })},
		{"gpio-chip", "the label of the GPIO chip the valves hang on", false, of(line("a chip's label"), func(h *garden.Hardware) *string { return &h.GPIOChip })},
		{"burst", "conversions whose median makes one sample, odd", false, of(whole("an odd count", 1, 31), func(h *garden.Hardware) *int { return &h.Burst })},
	}}
}

func self[V any](v *V) *V { return v }

package config

import (
	"time"

	"fabricpot/cmd/gateway/internal/units"
	"fabricpot/control/garden"
)

func potTable() object[*potDraft] {
	zone := func(p *potDraft) *zoneDraft { return &p.zoneDraft }
	size := either(of(sizeText(), self[sizeDraft]), kind[*sizeDraft](sizeParts()))
	fields := []field[*potDraft]{
		{"name", "the pot's name, for people", false, of(line("a name"), func(p *potDraft) *string { return &p.name })},
		{"mix", "the mix it is filled with", true, of(id[garden.MixID]("a mix"), func(p *potDraft) *garden.MixID { return &p.mix })},
		{"size", "a volume such as 75 L, or diameter x height such as 46 cm x 45 cm", true, in(size, func(p *potDraft) *sizeDraft { return &p.size })},
	}
	fields = append(fields, lift(zoneFields(), zone)...)
	return object[*potDraft]{"a pot", append(fields,
		field[*potDraft]{"zones", "root zones side by side, by name, where the pot has several", false,
			byID("a zone", zoneTable(), zero, func(p *potDraft) *[]entry[zoneDraft] { return &p.zones })})}
}

func zoneTable() object[*zoneDraft] {
	return object[*zoneDraft]{"a zone", append([]field[*zoneDraft]{
		{"name", "the zone's name, for people", false, of(line("a name"), func(z *zoneDraft) *string { return &z.Name })},
		{"share", "its share of the pot; absent from all means equal shares", false, maybe(quantity(units.Fraction(), 0.01, 1), func(z *zoneDraft) *garden.Measured { return &z.share })},
	}, zoneFields()...)}
}

// zoneFields are the keys of a zone, also written straight into a pot that has
// only one.
func zoneFields() []field[*zoneDraft] {
	water := func(at func(*zoneDraft) *garden.Measured) kind[*zoneDraft] {
		return maybe(quantity(units.Fraction(), 0.01, 0.99), at)
	}
	return []field[*zoneDraft]{
		{"plants", "what grows there", false, list("plants, each with a crop", plantTable(), func(z *zoneDraft) *[]garden.Plant { return &z.Plants })},
		{"probes", "the moisture probes, by name", false, byID("a probe", probeTable(), newProbe, func(z *zoneDraft) *[]entry[garden.Probe] { return &z.probes })},
		{"thermometer", "the 1-wire thermometer in its mix", false, of(thermometer(), func(z *zoneDraft) *string { return &z.Thermometer })},
		{"hand-tended", "yes where no line waters it and a person does", false, of(yesNo(), func(z *zoneDraft) *bool { return &z.hand })},
		{"exposure", "how wind and paving change its need", false, of(choice("an exposure", garden.Sheltered, garden.OpenAir, garden.WindyPaved), func(z *zoneDraft) *garden.Exposure { return &z.Exposure })},
		{"capacity", "measured container capacity", false, water(func(z *zoneDraft) *garden.Measured { return &z.Capacity })},
		{"lower-limit", "measured water below which plants suffer", false, water(func(z *zoneDraft) *garden.Measured { return &z.LowerLimit })},
		{"refill", "the mean water at which watering starts", false, water(func(z *zoneDraft) *garden.Measured { return &z.RefillPoint })},
		{"stop", "the mean water aimed at", false, water(func(z *zoneDraft) *garden.Measured { return &z.StopPoint })},
		{"leaching", "the share of water meant to drain; if absent as much as salts ask for where the supply's conductivity and what its plants bear are known, else 10 % where it is fed", false, of(quantity(units.Fraction(), 0, 0.4), func(z *zoneDraft) *float64 { return &z.LeachingFraction })},
		{"feed", "how it is fed; absent means not by the gateway's reckoning", false, in(feedTable(), func(z *zoneDraft) *garden.FeedPlan { return &z.Feed })},
	}
}

func plantTable() object[*garden.Plant] {
	return object[*garden.Plant]{"a plant", []field[*garden.Plant]{
		{"crop", "its crop, from the library or from crops", true, of(line("the name of a crop"), func(p *garden.Plant) *string { return &p.Crop })},
		{"count", "how many; 1 if absent", false, of(whole("a count", 1, 500), func(p *garden.Plant) *int { return &p.Count })},
		{"planted", "the day it was planted; absent means grown already", false, of(day(), func(p *garden.Plant) *time.Time { return &p.PlantedOn })},
		{"canopy", "one grown plant's canopy seen from above", false, maybe(quantity(units.Area(), 0.002, 10), func(p *garden.Plant) *garden.Measured { return &p.CanopyM2 })},
	}}
}

func probeTable() object[*garden.Probe] {
	remote := either(of(remoteQuantity(), func(i *garden.RemoteInput) *garden.RemoteQuantity { return &i.Quantity }), kind[*garden.RemoteInput](remoteTable()))
	return object[*garden.Probe]{"a probe", []field[*garden.Probe]{
		{"depth", "the middle of its sensing length under the surface", true, of(quantity(units.Length(), 1, 200), func(p *garden.Probe) *float64 { return &p.DepthCM })},
		{"input", "where it is wired, such as 0x48/0, or iio/NAME/CHANNEL of a converter that the kernel drives", false, of(input(), func(p *garden.Probe) *garden.Input { return &p.Input })},
		{"remote", "what it publishes over the broker, where it is far away", false, in(remote, remoteAt)},
		{"calibration", "its own calibration instead of the mix's", false, in(calibrationTable(), func(p *garden.Probe) *garden.Calibration { return &p.Calibration })},
		{"offset", "added to the mix's calibration for this probe", false, of(quantity(units.Fraction(), -0.3, 0.3), func(p *garden.Probe) *float64 { return &p.Calibration.OffsetWater })},
	}}
}

func lineTable() object[*lineDraft] {
	outlet := object[*garden.Outlet]{"the emitters of a zone", []field[*garden.Outlet]{
		{"emitters", "how many", true, of(whole("a count", 1, 1000), func(o *garden.Outlet) *int { return &o.Emitters })},
		{"flow", "one emitter's flow", true, of(quantity(units.Flow(), 0.05, 500), func(o *garden.Outlet) *float64 { return &o.FlowLPH })},
	}}
	watered := either(of(emitters(), self[garden.Outlet]), kind[*garden.Outlet](outlet))
	return object[*lineDraft]{"a line", []field[*lineDraft]{
		{"name", "the line's name, for people", false, of(line("a name"), func(l *lineDraft) *string { return &l.Name })},
		{"valve", "what opens it: a pin, or a remote node", true, in(valveTable(), func(l *lineDraft) *valveDraft { return &l.valve })},
		{"waters", "its emitters, by zone, such as chilli: 4 x 2 L/h", true, byID("a zone", watered, zero, func(l *lineDraft) *[]entry[garden.Outlet] { return &l.waters })},
		{"uniformity", "distribution uniformity, lowest quarter over mean", false, of(quantity(units.Fraction(), 0.3, 1), func(l *lineDraft) *float64 { return &l.DU })},
		{"max-on", "the longest it may stay open, if less than the garden's", false, of(span(time.Minute, 6*time.Hour), func(l *lineDraft) *time.Duration { return &l.MaxOn })},
		{"daily-cap", "the most it may give in a day; absent means reckoned", false, maybe(quantity(units.Volume(), 0.1, 10000), func(l *lineDraft) *garden.Measured { return &l.DailyCapL })},
		{"injector", "what puts feed into the line", false, in(injectorTable(), func(l *lineDraft) *garden.Injector { return &l.Injector })},
	}}
}

func valveTable() object[*valveDraft] {
	return object[*valveDraft]{"a valve", []field[*valveDraft]{
		{"pin", "the number of the GPIO line", false, of(whole("a pin number", 0, 1023), func(v *valveDraft) *int { return &v.Pin })},
		{"chip", "the label of its GPIO chip, if not the hardware's", false, of(line("a chip's label"), func(v *valveDraft) *string { return &v.Chip })},
		{"active-low", "yes where a low level energises the coil", false, of(yesNo(), func(v *valveDraft) *bool { return &v.ActiveLow })},
		{"close-pin", "of a latching valve: the GPIO line whose pulse closes it; pin then opens it", false, of(whole("a pin number", 0, 1023), func(v *valveDraft) *int { return &v.latch.ClosePin })},
		{"pulse", "of a latching valve: how long a pulse is; 50 ms if absent", false, of(brief(10*time.Millisecond, 200*time.Millisecond), func(v *valveDraft) *time.Duration { return &v.latch.Pulse })},
		{"remote", "the name of a remote node", false, of(id[string]("a node"), func(v *valveDraft) *string { return &v.remote })},
		{"plain", "a remote device that knows only two words and closes by its own time limit", false, in(plainTable(), plainAt)},
	}}
}

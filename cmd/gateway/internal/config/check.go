package config

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"fabricpot/cmd/gateway/internal/units"
	"fabricpot/control/crop"
	"fabricpot/control/garden"
)

// check reports what contradicts itself. Each rule looks only at values that
// were read without a complaint, so that one slip is one message.
func (r *reader) check(g *garden.Garden, d *draft) {
	for _, m := range d.mixes {
		r.checkRetention(m.path+".retention", m.value.Retention)
		r.checkCalibration(m.path+".calibration", m.value.Calibration)
	}
	for i := range g.Pots {
		r.checkPot(g, &g.Pots[i], d)
	}
	r.checkProducts(g)
	r.checkInputs(g)
	r.checkLines(g)
	r.checkBroker(g)
	r.checkSupply(g)
	r.checkGauges(g)
	r.checkCalling(g)
	r.checkPins(g)
	if h := g.Hardware; h.Burst%2 == 0 && r.sound("hardware.burst") {
		r.say("hardware.burst", "an even burst has no middle", fmt.Sprint(h.Burst), "an odd count")
	}
	if g.Hardware.Kind == garden.Board && g.Hardware.I2CBus == "" && r.sound("hardware") {
		for _, p := range g.ProbeList() {
			if p.Input.Bus == "" && p.Remote == nil {
				r.say("hardware", `no "i2c-bus"`, "", "the bus the probes' converters are on, such as /dev/i2c-1")
				break
			}
		}
	}
}

func (r *reader) checkRetention(path string, t garden.Retention) {
	if r.sound(path+".theta-r", path+".theta-s") && t.ThetaR >= t.ThetaS {
		r.say(path+".theta-r", "residual water is not under the porosity", percent(t.ThetaR), "less than theta-s, "+percent(t.ThetaS))
	}
	if r.sound(path+".theta-s") && t.ThetaS <= 0 {
		r.say(path+".theta-s", "a mix without pores", percent(t.ThetaS), "over 0 %")
	}
	if r.sound(path+".n") && t.N <= 1 {
		r.say(path+".n", "the shape n is too small", fmt.Sprint(t.N), "over 1")
	}
	if !r.sound(path + ".model") {
		return
	}
	of := map[garden.RetentionModel]string{
		garden.VanGenuchten: "alpha n", garden.BrooksCorey: "air-entry lambda", garden.Exponential: "alpha",
	}[t.Model]
	for _, key := range []string{"alpha", "n", "air-entry", "lambda"} {
		wanted := strings.Contains(" "+of+" ", " "+key+" ")
		switch given := r.src.given(path + "." + key); {
		case wanted && !given:
			r.say(path, fmt.Sprintf("no %q", key), "", fmt.Sprintf("it with the %s model", t.Model))
		case given && !wanted:
			r.say(path+"."+key, "belongs to another model", "", fmt.Sprintf("%s with the %s model", strings.ReplaceAll(of, " ", " and "), t.Model))
		}
	}
}

func (r *reader) checkCalibration(path string, c garden.Calibration) {
	defer r.checkFalls(path, c)
	if r.src.given(path + ".file") {
		for _, key := range []string{"method", "points", "slope", "intercept", "temperature-coefficient", "temperature-reference"} {
			if p := path + "." + key; r.src.given(p) {
				r.say(p, "stands beside a calibration file", "", "it in that file, or no such file")
			}
		}
		return
	}
	if r.src.given(path) && !r.src.given(path+".method") && !r.unsound[path] && !r.unsound[path+".method"] {
		r.say(path, `no "method"`, "", "method: how points become a curve, or file: a calibration file")
		return
	}
	if !r.sound(path + ".method") {
		return
	}
	points := path + ".points"
	if c.Kind == garden.Linear {
		for _, key := range []string{"slope", "intercept"} {
			if !r.src.given(path + "." + key) {
				r.say(path, fmt.Sprintf("no %q", key), "", "it with the linear method")
			}
		}
		if r.sound(path+".slope") && c.Slope == 0 {
			r.say(path+".slope", "a slope of nothing", "0", "a rise or a fall")
		}
		if r.src.given(points) {
			r.say(points, "belongs to another method", "", "slope and intercept with linear")
		}
		return
	}
	for _, key := range []string{"slope", "intercept"} {
		if p := path + "." + key; r.src.given(p) {
			r.say(p, "belongs to the linear method", "", fmt.Sprintf("points with %s", c.Kind))
		}
	}
	if !r.src.given(points) {
		r.say(path, `no "points"`, "", fmt.Sprintf("them with %s", c.Kind))
		return
	}
	if r.sound(points) {
		r.checkPoints(points, c)
	}
}

// checkFalls warns of points that look swapped: the voltage of a capacitive probe falls
// as water rises (common practice, no source). A slope is written with its sign, so
// that a linear curve is meant as it stands.
func (r *reader) checkFalls(path string, c garden.Calibration) {
	at := path + ".points"
	if r.src.given(path + ".file") {
		at = path + ".file"
	}
	if !r.sound(at) || len(c.Points) < 2 {
		return
	}
	low, high, rises := c.Points[0], c.Points[0], 0
	for i, a := range c.Points {
		for _, b := range c.Points[i+1:] {
			switch s := float64(b.Volts-a.Volts) * float64(b.Water-a.Water); {
			case s > 0:
				rises++
			case s < 0:
				rises--
			}
		}
		if a.Volts < low.Volts {
			low = a
		} else if a.Volts > high.Volts {
			high = a
		}
	}
	if rises > 0 {
		r.warn(at, "water rises with the voltage", fmt.Sprintf("%g V %s and %g V %s", float64(low.Volts), percent(float64(low.Water)), float64(high.Volts), percent(float64(high.Water))),
			"it to fall, as with a capacitive probe; swap the voltages, or leave it where your probe is of another kind")
	}
}

func (r *reader) checkPoints(path string, c garden.Calibration) {
	n := len(c.Points)
	wrong := map[garden.CalibrationKind]string{
		garden.TwoPoint: "exactly 2", garden.Interpolated: "3 or more", garden.Quadratic: "3 or more",
		garden.LeastSquares: "2 or more", garden.Inverse: "2 or more",
	}[c.Kind]
	three := c.Kind == garden.Interpolated || c.Kind == garden.Quadratic
	if (c.Kind == garden.TwoPoint && n != 2) || (three && n < 3) || n < 2 {
		r.say(path, "the wrong number of points for "+string(c.Kind), fmt.Sprint(n), wrong)
		return
	}
	const most = 500
	if n > most {
		r.say(path, "too many points", fmt.Sprint(n), fmt.Sprintf("at most %d", most))
		return
	}
	if c.Kind == garden.LeastSquares || c.Kind == garden.Quadratic || c.Kind == garden.Inverse {
		r.checkFitted(path, c)
		return
	}
	// Whether rising or falling, a curve that turns gives one voltage two waters.
	up, down := 0, 0
	for i, a := range c.Points {
		for _, b := range c.Points[i+1:] {
			switch s := float64(b.Volts-a.Volts) * float64(b.Water-a.Water); {
			case s > 0:
				up++
			case s < 0:
				down++
			default:
				r.say(path, "two points share a voltage or a water fraction", fmt.Sprintf("%g V %s and %g V %s", float64(a.Volts), percent(float64(a.Water)), float64(b.Volts), percent(float64(b.Water))), "different ones")
				return
			}
		}
	}
	if up > 0 && down > 0 {
		r.say(path, "the points turn", "", "water that only rises or only falls with the voltage")
	}
}

// checkFitted asks only for enough different voltages: repeated and scattered
// points are what a fit is for.
func (r *reader) checkFitted(path string, c garden.Calibration) {
	var volts []garden.Volts
	for _, p := range c.Points {
		if !slices.Contains(volts, p.Volts) {
			volts = append(volts, p.Volts)
		}
	}
	need := 2
	if c.Kind == garden.Quadratic {
		need = 3
	}
	if len(volts) < need {
		r.say(path, "too few different voltages for "+string(c.Kind), fmt.Sprint(len(volts)), fmt.Sprintf("at least %d", need))
	}
}

func (r *reader) checkPot(g *garden.Garden, p *garden.Pot, d *draft) {
	path := "pots." + string(p.ID)
	if r.sound(path + ".size") {
		size := path + ".size"
		v, h := p.VolumeL, p.Shape.HeightCM
		switch litres := units.Volume().Format(v, "L", 1); {
		case v < 1 || v > 2000:
			r.say(size, "no pot is of this size", litres, "1 L to 2000 L")
		case h < 5 || h > 300:
			r.say(size, "no pot is of this height", units.Length().Format(h, "cm", 1), "5 cm to 300 cm")
		case v < 20 || v > 400:
			r.warn(size, "outside what the gateway is made for", litres, "20 L to 400 L")
		}
	}
	mix, known := g.Mix(p.Mix)
	if !known && r.sound(path+".mix") {
		names := make([]string, len(g.Mixes))
		for i := range g.Mixes {
			names[i] = string(g.Mixes[i].ID)
		}
		r.unknownName(path+".mix", "mix", string(p.Mix), names)
	}
	for i := range p.Zones {
		r.checkZone(g, p, &p.Zones[i], mix, d)
	}
}

func (r *reader) checkZone(g *garden.Garden, p *garden.Pot, z *garden.Zone, mix *garden.Mix, d *draft) {
	path := r.src.aliases["zones."+string(z.ID)]
	r.checkWater(path, "pots."+string(p.ID), z, mix)
	for i, plant := range z.Plants {
		at := fmt.Sprintf("%s.plants.%d.crop", path, i+1)
		if _, ok := crop.Find(g.Crops, plant.Crop); !ok && r.sound(at) {
			names := crop.Names()
			for _, c := range g.Crops {
				names = append(names, c.Name)
			}
			r.unknownName(at, "crop", plant.Crop, names)
			if last := &r.problems[len(r.problems)-1]; nearest(plant.Crop, names) == "" && last.Path == at {
				last.Expected += ", or one of your own under crops:"
			}
		}
	}
	for _, pr := range z.Probes {
		at := r.src.aliases["probes."+string(pr.ID)]
		if depth := at + ".depth"; r.sound(depth, "pots."+string(p.ID)+".size") && pr.DepthCM >= p.Shape.HeightCM {
			r.say(depth, "a probe below the floor", units.Length().Format(pr.DepthCM, "cm", 1), "less than the mix's depth, "+units.Length().Format(p.Shape.HeightCM, "cm", 1))
		}
		r.checkCalibration(at+".calibration", pr.Calibration)
		if r.src.given(at+".offset") && r.src.given(at+".calibration") {
			r.say(at+".offset", "stands beside a calibration of its own", "", "offset inside that calibration")
		}
		if bare := pr.Remote == nil || pr.Remote.Quantity == garden.RemoteCounts || pr.Remote.Quantity == garden.RemoteVolts; bare && mix != nil && mix.Calibration.Kind == garden.NoCurve && pr.Calibration.Kind == garden.NoCurve && !r.src.given("mixes."+string(mix.ID)+".calibration") {
			r.warn(at, "has no calibration and decides nothing", "", "one here or in mix "+string(mix.ID))
		}
	}
	if at := path + ".thermometer"; z.Thermometer != "" && len(z.Probes) == 0 && !r.unsound[path+".probes"] {
		r.warn(at, "belongs to the zone's probes, and there is none", "", "a probe in that zone")
	}
	r.checkFeed(g, z, path, "pots."+string(p.ID))
	hand := r.handTended(path, d)
	switch {
	case z.Line != "" && hand:
		r.say(path+".hand-tended", "tended by hand and on a line", fmt.Sprintf("line %q", z.Line), "one of the two")
	case z.Line == "" && !hand && !r.clashed[path] && !r.unsound["lines"] && !r.unsound[path+".hand-tended"]:
		r.say(path, "nothing waters it", "", fmt.Sprintf("%s under waters of a line, or hand-tended: yes", z.ID))
	}
}

func (r *reader) handTended(path string, d *draft) bool {
	for _, p := range d.pots {
		if p.path == path {
			return p.value.hand
		}
		for _, z := range p.value.zones {
			if z.path == path {
				return z.value.hand
			}
		}
	}
	return false
}

// checkWater puts the water fractions a gardener gave in order, as far as that
// needs no curve.
func (r *reader) checkWater(path, potPath string, z *garden.Zone, mix *garden.Mix) {
	type level struct {
		key, name string
		m         garden.Measured
	}
	levels := []level{
		{"lower-limit", "the lower limit", z.LowerLimit}, {"refill", "the refill point", z.RefillPoint},
		{"stop", "the stop point", z.StopPoint}, {"capacity", "the capacity", z.Capacity},
	}
	for i, low := range levels {
		for _, high := range levels[i+1:] {
			at, above := r.own(path, potPath, low.key), r.own(path, potPath, high.key)
			if low.m.Known && high.m.Known && r.sound(at, above) && low.m.Value >= high.m.Value {
				r.say(at, low.name+" is not under "+high.name, percent(low.m.Value), "less than "+percent(high.m.Value))
			}
		}
		at := r.own(path, potPath, low.key)
		if mix == nil || !low.m.Known || !r.sound(at, "mixes."+string(mix.ID)+".retention") {
			continue
		}
		if low.m.Value > mix.Retention.ThetaS {
			r.say(at, low.name+" is over the mix's porosity", percent(low.m.Value), "at most "+percent(mix.Retention.ThetaS))
		}
		if low.m.Value <= mix.Retention.ThetaR {
			r.say(at, low.name+" is not over the mix's residual water", percent(low.m.Value), "more than "+percent(mix.Retention.ThetaR))
		}
	}
}

// own is where a zone's value was written: at the zone or at its pot.
func (r *reader) own(path, potPath, key string) string {
	if p := path + "." + key; r.src.given(p) {
		return p
	}
	return potPath + "." + key
}

func percent(f float64) string { return units.Fraction().Format(f, "%", 1) }

// PlantedAfter warns of plants whose planting day lies after day: they would
// drink nothing yet. It is apart from Load because a file means the same on any
// day it is read.
func PlantedAfter(g *garden.Garden, s *Source, day time.Time) Problems {
	var out Problems
	g.EachZone(func(_ *garden.Pot, z *garden.Zone) {
		for i, p := range z.Plants {
			if !p.PlantedOn.After(day) {
				continue
			}
			path := fmt.Sprintf("zones.%s.plants.%d.planted", z.ID, i+1)
			line, column := s.Position(path)
			out = append(out, Problem{
				File: s.Name, Line: line, Column: column, Path: s.resolve(path), Warning: true,
				What: "planted after " + day.Format("2006-01-02"), Found: quote(p.PlantedOn.Format("2006-01-02")),
				Expected: "a day that has been, or no such key for a grown plant",
			})
		}
	})
	return out
}

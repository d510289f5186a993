package config

import (
	"time"

	"fabricpot/cmd/gateway/internal/units"
	"fabricpot/control/garden"
)

func mixTable() object[*garden.Mix] {
	nutrient := func(at func(*garden.Mix) *float64) kind[*garden.Mix] {
		return of(quantity(units.Concentration(), 0, 5000), at)
	}
	starter := object[*garden.Mix]{"a starter charge", []field[*garden.Mix]{
		{"nitrogen", "N mixed in at the start, per litre of mix", false, nutrient(func(m *garden.Mix) *float64 { return &m.StarterNmgL })},
		{"phosphorus", "P, the element, mixed in at the start", false, nutrient(func(m *garden.Mix) *float64 { return &m.StarterPmgL })},
		{"potassium", "K, the element, mixed in at the start", false, nutrient(func(m *garden.Mix) *float64 { return &m.StarterKmgL })},
	}}
	return object[*garden.Mix]{"a mix", []field[*garden.Mix]{
		{"name", "the mix's name, for people", false, of(line("a name"), func(m *garden.Mix) *string { return &m.Name })},
		{"illustrative", "yes where the figures were not measured on this mix", false, of(yesNo(), func(m *garden.Mix) *bool { return &m.Illustrative })},
		{"retention", "how the mix holds water", true, in(retentionTable(), func(m *garden.Mix) *garden.Retention { return &m.Retention })},
		{"calibration", "what a probe's voltage means in this mix", false, in(calibrationTable(), func(m *garden.Mix) *garden.Calibration { return &m.Calibration })},
		{"starter", "nutrients mixed in at the start", false, starter},
	}}
}

func retentionTable() object[*garden.Retention] {
	share := quantity(units.Fraction(), 0, 1)
	return object[*garden.Retention]{"a retention curve", []field[*garden.Retention]{
		{"model", "the curve's formula", true, of(choice("a retention model", garden.VanGenuchten, garden.BrooksCorey, garden.Exponential), func(t *garden.Retention) *garden.RetentionModel { return &t.Model })},
		{"theta-r", "residual water", true, of(share, func(t *garden.Retention) *float64 { return &t.ThetaR })},
		{"theta-s", "water when saturated, the porosity", true, of(share, func(t *garden.Retention) *float64 { return &t.ThetaS })},
		{"alpha", "α of van-genuchten and exponential", false, of(quantity(units.InverseLength(), 1e-4, 10), func(t *garden.Retention) *float64 { return &t.AlphaPerCM })},
		{"n", "the shape n of van-genuchten, over 1", false, of(number("a shape", 0, 20), func(t *garden.Retention) *float64 { return &t.N })},
		{"air-entry", "the air entry suction of brooks-corey, as a height of water", false, of(quantity(units.Length(), 0.1, 500), func(t *garden.Retention) *float64 { return &t.HbCM })},
		{"lambda", "the pore size index of brooks-corey", false, of(number("an index", 0.01, 20), func(t *garden.Retention) *float64 { return &t.Lambda })},
		{"conductivity", "saturated hydraulic conductivity, for the simulator", false, of(quantity(units.Seepage(), 0.01, 5000), func(t *garden.Retention) *float64 { return &t.KsCMH })},
	}}
}

func calibrationTable() object[*garden.Calibration] {
	point := object[*garden.CalibrationPoint]{"a calibration point", []field[*garden.CalibrationPoint]{
		{"volts", "what the probe said", true, of(as[garden.Volts](quantity(units.Potential(), 0, 6)), func(p *garden.CalibrationPoint) *garden.Volts { return &p.Volts })},
		{"water", "the water fraction that was true", true, of(as[garden.WaterFraction](quantity(units.Fraction(), 0, 1)), func(p *garden.CalibrationPoint) *garden.WaterFraction { return &p.Water })},
	}}
	return object[*garden.Calibration]{"a calibration", []field[*garden.Calibration]{
		{"file", "a calibration file that stands beside the garden file, in place of method and points", false, of(besideName(), func(c *garden.Calibration) *string { return &c.File })},
		{"method", "how points become a curve", false, of(choice("a method", garden.TwoPoint, garden.Interpolated, garden.LeastSquares, garden.Quadratic, garden.Inverse, garden.Linear), func(c *garden.Calibration) *garden.CalibrationKind { return &c.Kind })},
		{"points", "pairs of volts and water", false, list("points, each with volts and water", point, func(c *garden.Calibration) *[]garden.CalibrationPoint { return &c.Points })},
		{"slope", "of linear: the change of water fraction per volt", false, of(quantity(units.PerVolt(), -10, 10), func(c *garden.Calibration) *float64 { return &c.Slope })},
		{"intercept", "of linear: the water fraction at 0 V", false, of(quantity(units.Fraction(), -20, 20), func(c *garden.Calibration) *float64 { return &c.Intercept })},
		{"offset", "added to the result", false, of(quantity(units.Fraction(), -0.3, 0.3), func(c *garden.Calibration) *float64 { return &c.OffsetWater })},
		{"temperature-coefficient", "the change of water fraction per degree away from the reference", false, of(quantity(units.PerDegree(), -0.02, 0.02), func(c *garden.Calibration) *float64 { return &c.TempCoeff })},
		{"temperature-reference", "the temperature the calibration was made at", false, of(quantity(units.Temperature(), -10, 60), func(c *garden.Calibration) *float64 { return &c.TempRefC })},
	}}
}

func cropTable() object[*cropDraft] {
	kc := func(at func(*cropDraft) *float64) kind[*cropDraft] {
		return of(number("a crop coefficient", 0.1, 2.5), at)
	}
	return object[*cropDraft]{"a crop", []field[*cropDraft]{
		{"kc-initial", "crop coefficient after planting", true, kc(func(c *cropDraft) *float64 { return &c.KcIni })},
		{"kc-mid", "crop coefficient when fully grown", true, kc(func(c *cropDraft) *float64 { return &c.KcMid })},
		{"kc-end", "crop coefficient at the end", true, kc(func(c *cropDraft) *float64 { return &c.KcEnd })},
		{"stages", "lengths of the initial, development, mid and late stage", true, list("four stage lengths, such as 30 d", of(span(24*time.Hour, 400*24*time.Hour), self[time.Duration]), func(c *cropDraft) *[]time.Duration { return &c.stages })},
		{"depletion", "the share of the available water it takes without stress, FAO-56's p", true, of(quantity(units.Fraction(), 0.1, 0.8), func(c *cropDraft) *float64 { return &c.P })},
		{"height", "a grown plant's height", true, of(quantity(units.Altitude(), 0.05, 6), func(c *cropDraft) *float64 { return &c.HeightM })},
		{"canopy", "a grown plant's canopy seen from above", true, of(quantity(units.Area(), 0.002, 10), func(c *cropDraft) *float64 { return &c.CanopyM2 })},
	}}
}

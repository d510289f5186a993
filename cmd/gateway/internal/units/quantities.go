package units

// Exact by definition: the US gallon is 231 cubic inches and the inch 2.54 cm
// (NIST SP 811, Appendix B.8; from memory); the psi follows from the pound-force.
const (
	litresPerGallon = 3.785411784
	cmPerInch       = 2.54
	kPaPerPSI       = 6.894757293168361
)

// Volume is kept in litres. A gal is a US gallon.
func Volume() Quantity {
	return Quantity{"a volume", []Unit{
		{Name: "L", Also: []string{"l", "litre", "litres", "liter", "liters"}, Factor: 1},
		{Name: "mL", Also: []string{"ml"}, Factor: 1e-3},
		{Name: "gal", Also: []string{"gallon", "gallons"}, Factor: litresPerGallon},
	}, "75 L"}
}

// Flow is kept in L/h.
func Flow() Quantity {
	return Quantity{"a flow", []Unit{
		{Name: "L/h", Also: []string{"l/h", "lph", "LPH"}, Factor: 1},
		{Name: "L/min", Also: []string{"l/min"}, Factor: 60},
		{Name: "gal/h", Also: []string{"gph", "GPH"}, Factor: litresPerGallon},
		{Name: "gal/min", Also: []string{"gpm", "GPM"}, Factor: 60 * litresPerGallon},
	}, "2 L/h"}
}

// Length is kept in centimetres.
func Length() Quantity {
	return Quantity{"a length", []Unit{
		{Name: "cm", Factor: 1},
		{Name: "mm", Factor: 0.1},
		{Name: "m", Factor: 100},
		{Name: "in", Also: []string{"inch", "inches", `"`}, Factor: cmPerInch},
		{Name: "ft", Also: []string{"foot", "feet"}, Factor: 12 * cmPerInch},
	}, "12 cm"}
}

// Altitude is kept in metres.
func Altitude() Quantity {
	return Quantity{"a height", []Unit{
		{Name: "m", Factor: 1},
		{Name: "cm", Factor: 0.01},
		{Name: "ft", Also: []string{"feet"}, Factor: 12 * cmPerInch / 100},
		{Name: "in", Factor: cmPerInch / 100},
	}, "45 m"}
}

// Area is kept in m².
func Area() Quantity {
	return Quantity{"an area", []Unit{
		{Name: "m2", Also: []string{"m²"}, Factor: 1},
		{Name: "cm2", Also: []string{"cm²"}, Factor: 1e-4},
		{Name: "ft2", Also: []string{"ft²", "sqft"}, Factor: 144 * cmPerInch * cmPerInch * 1e-4},
	}, "0.4 m2"}
}

// Fraction is kept as a fraction of one.
func Fraction() Quantity {
	return Quantity{"a share", []Unit{
		{Name: "%", Factor: 0.01},
		{Name: "m3/m3", Also: []string{"m³/m³"}, Factor: 1},
	}, "35 %"}
}

// Potential is a voltage, kept in V.
func Potential() Quantity {
	return Quantity{"a voltage", []Unit{{Name: "V", Factor: 1}, {Name: "mV", Factor: 1e-3}}, "2.1 V"}
}

// Temperature is kept in °C.
func Temperature() Quantity {
	return Quantity{"a temperature", []Unit{
		{Name: "°C", Also: []string{"C", "℃"}, Factor: 1},
		{Name: "°F", Also: []string{"F", "℉"}, Factor: 1 / 1.8, Before: -32},
	}, "20 °C"}
}

// Span is a duration, kept in seconds.
func Span() Quantity {
	return Quantity{"a time", []Unit{
		{Name: "s", Also: []string{"sec", "seconds"}, Factor: 1},
		{Name: "min", Also: []string{"minute", "minutes"}, Factor: 60},
		{Name: "h", Also: []string{"hour", "hours"}, Factor: 3600},
		{Name: "d", Also: []string{"day", "days"}, Factor: 86400},
	}, "90 min"}
}

// Pulse is a short time, kept in seconds.
func Pulse() Quantity {
	return Quantity{"a short time", []Unit{
		{Name: "ms", Factor: 0.001},
		{Name: "s", Also: []string{"sec", "seconds"}, Factor: 1},
	}, "50 ms"}
}

// Pressure is kept in kPa.
func Pressure() Quantity {
	return Quantity{"a pressure", []Unit{
		{Name: "kPa", Factor: 1},
		{Name: "bar", Factor: 100},
		{Name: "psi", Factor: kPaPerPSI},
	}, "150 kPa"}
}

// Conductivity is electrical conductivity, kept in mS/cm.
func Conductivity() Quantity {
	return Quantity{"an electrical conductivity", []Unit{
		{Name: "mS/cm", Also: []string{"dS/m"}, Factor: 1},
		{Name: "uS/cm", Also: []string{"µS/cm", "μS/cm"}, Factor: 1e-3},
	}, "0.6 mS/cm"}
}

// InverseLength is kept in 1/cm.
func InverseLength() Quantity {
	return Quantity{"an inverse length", []Unit{
		{Name: "/cm", Also: []string{"1/cm", "cm-1"}, Factor: 1},
		{Name: "/m", Also: []string{"1/m", "m-1"}, Factor: 0.01},
	}, "0.15 /cm"}
}

// Seepage is a hydraulic conductivity, kept in cm/h.
func Seepage() Quantity {
	return Quantity{"a hydraulic conductivity", []Unit{
		{Name: "cm/h", Factor: 1},
		{Name: "cm/d", Also: []string{"cm/day"}, Factor: 1.0 / 24},
		{Name: "mm/h", Factor: 0.1},
	}, "30 cm/h"}
}

// Concentration of a nutrient in a mix, kept in mg/L.
func Concentration() Quantity {
	return Quantity{"a concentration", []Unit{
		{Name: "mg/L", Also: []string{"mg/l"}, Factor: 1},
		{Name: "g/L", Also: []string{"g/l"}, Factor: 1000},
	}, "250 mg/L"}
}

// Rainfall is a depth of rain, kept in mm.
func Rainfall() Quantity {
	return Quantity{"a depth of rain", []Unit{
		{Name: "mm", Factor: 1},
		{Name: "in", Also: []string{"inch", "inches"}, Factor: 10 * cmPerInch},
	}, "0.2 mm"}
}

// PulseRate of a flow meter, kept in pulses per litre.
func PulseRate() Quantity {
	return Quantity{"a meter constant", []Unit{
		{Name: "pulses/L", Also: []string{"pulses/l", "/L"}, Factor: 1},
		{Name: "pulses/gal", Also: []string{"/gal"}, Factor: 1 / litresPerGallon},
	}, "450 pulses/L"}
}

// PerVolt is a slope of water fraction over voltage, kept in 1/V.
func PerVolt() Quantity {
	return Quantity{"a slope", []Unit{
		{Name: "%/V", Factor: 0.01},
		{Name: "/V", Also: []string{"1/V"}, Factor: 1},
	}, "-36 %/V"}
}

// PerDegree is a change of water fraction with temperature, kept in 1/°C.
func PerDegree() Quantity {
	return Quantity{"a temperature coefficient", []Unit{
		{Name: "%/°C", Also: []string{"%/C"}, Factor: 0.01},
		{Name: "%/°F", Also: []string{"%/F"}, Factor: 0.018},
	}, "0.1 %/°C"}
}

// Strength of a feed, mg of nitrogen per litre of ready solution. A ppm is taken
// as 1 mg/L, as the trade does for weak solutions.
func Strength() Quantity {
	return Quantity{"a strength", []Unit{{Name: "ppm", Also: []string{"mg/L", "mg/l"}, Factor: 1}}, "150 ppm"}
}

// Density is kept in kg/L.
func Density() Quantity {
	return Quantity{"a density", []Unit{{Name: "kg/L", Also: []string{"kg/l", "g/mL", "g/ml"}, Factor: 1}}, "1.2 kg/L"}
}

// Solubility is kept in g/L.
func Solubility() Quantity {
	return Quantity{"a solubility", []Unit{{Name: "g/L", Also: []string{"g/l"}, Factor: 1}}, "350 g/L"}
}

// Mass is kept in kg. The pound is exact by definition (NIST SP 811; from memory).
func Mass() Quantity {
	return Quantity{"a mass", []Unit{
		{Name: "kg", Factor: 1},
		{Name: "g", Factor: 1e-3},
		{Name: "lb", Factor: 0.45359237},
	}, "3 kg"}
}

package testdata

import _ "embed"

// The weather of weather/README.md, for trials that must run on any machine.
var (
	//go:embed weather/seattle-weather.csv
	Seattle []byte
	//go:embed weather/new-york-weather.csv
	NewYork []byte
	//go:embed weather/synthetic-heat-spell.csv
	HeatSpell []byte
)

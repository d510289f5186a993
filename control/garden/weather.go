package garden

import "time"

// DayWeather is one civil day of weather. Anything may be absent; whoever uses
// it says which estimate stood in.
type DayWeather struct {
	// Date is midnight of the day in the garden's time zone.
	Date     time.Time
	TMinC    Measured // °C, daily minimum
	TMaxC    Measured // °C, daily maximum
	RainMM   Measured // mm over the day
	WindMS   Measured // m/s, daily mean at WindHeightM
	SolarMJ  Measured // MJ m⁻² over the day, shortwave
	SunHours Measured // h of bright sunshine
	RHMin    Measured // %, daily minimum
	RHMax    Measured // %, daily maximum
	RHMean   Measured // %, daily mean, where only that is known
	DewC     Measured // °C, dew point
	// WindHeightM is the height WindMS was measured at, m; 0 means 2 m.
	WindHeightM float64
}

// WeatherNow is what the weather is doing at one moment, from a local sensor, a
// hub, or the simulator's sky.
type WeatherNow struct {
	At      Moment
	TempC   Measured // °C
	RH      Measured // %
	WindMS  Measured // m/s
	SolarWM Measured // W/m²
	// RainMM is the rain since the previous observation, mm.
	RainMM Measured
}

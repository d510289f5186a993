package main

import (
	"fmt"
	"math"
	"strings"

	"fabricpot/control/garden"
	"fabricpot/control/weather"

	"github.com/spf13/cobra"
)

type etoFlags struct {
	lat, lon, tzLon, elev       garden.Measured
	day, year                   int
	tmin, tmax, temp            garden.Measured
	rhMin, rhMax, rhMean, rh    garden.Measured
	dew, wind, windHeight       garden.Measured
	sun, solar, soilHeat, cloud garden.Measured
	hourStart, hourEnd          garden.Measured
	hourly, coastal             bool
	method                      string
}

// etoAnswer is the JSON of calc eto. What a method does not use is null.
type etoAnswer struct {
	EToMM       float64  `json:"eto_mm"`
	Period      string   `json:"period"`
	Method      string   `json:"method"`
	Estimated   []string `json:"estimated"`
	TMeanC      float64  `json:"t_mean_c"`
	RaMJ        float64  `json:"ra_mj"`
	RsMJ        *float64 `json:"rs_mj"`
	RsoMJ       *float64 `json:"rso_mj"`
	RnsMJ       *float64 `json:"rns_mj"`
	RnlMJ       *float64 `json:"rnl_mj"`
	RnMJ        *float64 `json:"rn_mj"`
	GMJ         *float64 `json:"g_mj"`
	EsKPa       *float64 `json:"es_kpa"`
	EaKPa       *float64 `json:"ea_kpa"`
	PressureKPa *float64 `json:"pressure_kpa"`
	Delta       *float64 `json:"delta"`
	Gamma       *float64 `json:"gamma"`
	U2          *float64 `json:"u2"`
	DaylightH   *float64 `json:"daylight_h"`
	Notes       []string `json:"notes,omitempty"`
}

func calcETo(s streams) *cobra.Command {
	var f etoFlags
	cmd := &cobra.Command{
		Use:   "eto --lat DEG --day-of-year N --tmin C --tmax C [flags]",
		Short: "Reference evapotranspiration of a day or an hour",
		Long: `eto says how much water a short, well-watered lawn would lose: the figure all
water needs are multiples of. 1 mm is 1 litre from each m².

Methods:
  fao56        Penman-Monteith, FAO Irrigation and Drainage Paper 56 (eq. 6, 53)
  asce         ASCE-EWRI 2005 standardized short reference
  hargreaves   Hargreaves-Samani, temperatures only (FAO-56 eq. 52), days only

What you do not give is estimated as FAO-56 chapter 3 does, and the answer says
so: humidity from the minimum temperature, radiation from the temperature range,
wind as 2 m/s, and even temperatures from latitude and season.

Day 1 is 1 January. Day 366 is taken, as the end of a leap year, unless --year
names a common one. Longitudes and meridians are east-positive: New York is -74.
An hour needs the clock's meridian: 15° for each hour it is ahead of Greenwich,
summer time included.`,
		Example: `  A day in July at Lyon with temperatures alone (FAO-56, Example 20):
  gateway calc eto --lat 45.72 --elev 200 --day-of-year 196 --tmin 14.8 --tmax 26.6
  Of the answer: Ra 40.55 MJ/m² lies over the atmosphere on that day; a range of
  11.8 °C lets 0.16·√11.8 = 55 % of it through, Rs 22.3; ETo is 4.56 mm.

  An hour after noon in Senegal (FAO-56, Example 19):
  gateway calc eto --hourly --lat 16.22 --lon -16.25 --tz-lon -15 --elev 8 \
      --day-of-year 274 --hour-start 14 --hour-end 15 --temp 38 --rh 52 --wind 3.3 --solar 2.45`,
		Args: usage(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			a, err := f.work(cmd)
			if err != nil {
				return asked(err)
			}
			return reply(s, cmd, a)
		},
	}
	fl := cmd.Flags()
	fl.SortFlags = false
	fl.StringVar(&f.method, "method", "fao56", "fao56, asce or hargreaves")
	numberFlag(fl, &f.lat, "lat", "latitude in `degrees`, north positive")
	numberFlag(fl, &f.elev, "elev", "height above the sea in `metres`; none: sea level")
	fl.Var(whole{&f.day}, "day-of-year", "the day, 1 to 366")
	fl.Var(whole{&f.year}, "year", "the `year`, which then refuses day 366 if it has none")
	numberFlag(fl, &f.tmin, "tmin", "the day's minimum temperature in °C")
	numberFlag(fl, &f.tmax, "tmax", "the day's maximum temperature in °C")
	numberFlag(fl, &f.rhMin, "rh-min", "the day's minimum humidity in `%`")
	numberFlag(fl, &f.rhMax, "rh-max", "the day's maximum humidity in `%`")
	numberFlag(fl, &f.rhMean, "rh-mean", "the day's mean humidity in `%`, if you know no better")
	numberFlag(fl, &f.dew, "dewpoint", "dew point in °C")
	numberFlag(fl, &f.wind, "wind", "mean wind in `m/s`")
	numberFlag(fl, &f.windHeight, "wind-height", "height of the wind measurement in `metres`; none: 2")
	numberFlag(fl, &f.sun, "sun-hours", "`hours` of bright sunshine")
	numberFlag(fl, &f.solar, "solar", "solar radiation in MJ/m² over the day or the hour")
	fl.BoolVar(&f.coastal, "coastal", false, "by the sea (for radiation from the temperature range)")
	numberFlag(fl, &f.soilHeat, "soil-heat", "heat into the soil in MJ/m² a day, for monthly means; none: 0")
	fl.BoolVar(&f.hourly, "hourly", false, "an hour or less, not a day; --tmin and --tmax remain the day's")
	numberFlag(fl, &f.hourStart, "hour-start", "when it begins, `hour` of the clock 0 to 24")
	numberFlag(fl, &f.hourEnd, "hour-end", "when it ends, `hour` of the clock")
	numberFlag(fl, &f.lon, "lon", "longitude in `degrees`, east positive")
	numberFlag(fl, &f.tzLon, "tz-lon", "the clock's meridian in `degrees`, east positive")
	numberFlag(fl, &f.temp, "temp", "the hour's mean temperature in °C")
	numberFlag(fl, &f.rh, "rh", "the hour's mean humidity in `%`")
	numberFlag(fl, &f.cloud, "cloud-ratio", "Rs/Rso of the last sunny hours, for an hour at night, a `share`")
	return cmd
}

// work checks that the flags belong together and runs the method.
func (f etoFlags) work(cmd *cobra.Command) (answer, error) {
	if f.method != "fao56" && f.method != "asce" && f.method != "hargreaves" {
		return answer{}, unknownWord("--method", f.method, []string{"fao56", "asce", "hargreaves"})
	}
	if err := firstOf(
		needs(cmd, "the sun's path", "lat", "day-of-year"),
		apart(cmd, "tell humidity in one way", []string{"dewpoint"}, []string{"rh-mean"}, []string{"rh-min", "rh-max"}, []string{"rh"}),
		apart(cmd, "tell radiation in one way", []string{"sun-hours"}, []string{"solar"}),
	); err != nil {
		return answer{}, err
	}
	if cmd.Flags().Changed("wind-height") {
		if err := needs(cmd, "--wind-height", "wind"); err != nil {
			return answer{}, err
		}
		if f.windHeight.Value <= 0 {
			return answer{}, fmt.Errorf("--wind-height is %v m, expected 0.5 to 200", f.windHeight.Value)
		}
	}
	year := 2000 // a leap year, so that 366 is a day where no year is asked for
	if cmd.Flags().Changed("year") {
		if year = f.year; year < 1 || year > 9999 {
			return answer{}, fmt.Errorf("--year is %d, expected 1 to 9999", year)
		}
	}
	if f.day < 1 || f.day > 366 {
		return answer{}, fmt.Errorf("--day-of-year is %d, expected 1 to 366", f.day)
	}
	date, err := weather.DayNumbered(year, f.day)
	if err != nil {
		return answer{}, err
	}
	place := weather.Place{LatDeg: f.lat.Value, LonDeg: f.lon.Or(0), ElevationM: f.elev.Or(0), Coastal: f.coastal}
	if f.hourly {
		return f.hour(cmd, place)
	}
	if err := without(cmd, "belongs to --hourly", "hour-start", "hour-end", "lon", "tz-lon", "temp", "rh", "cloud-ratio"); err != nil {
		return answer{}, err
	}
	run := map[string]func(weather.Place, garden.DayWeather) (weather.ETo, error){
		"fao56": weather.Daily, "asce": weather.ASCEDaily, "hargreaves": weather.HargreavesDaily}[f.method]
	e, err := run(place, garden.DayWeather{
		Date: date, TMinC: f.tmin, TMaxC: f.tmax, RHMin: f.rhMin, RHMax: f.rhMax, RHMean: f.rhMean, DewC: f.dew,
		WindMS: f.wind, WindHeightM: f.windHeight.Or(0), SolarMJ: f.solar, SunHours: f.sun,
	})
	if err != nil {
		return answer{}, err
	}
	if f.soilHeat.Known && f.method != "hargreaves" {
		if math.Abs(f.soilHeat.Value) > 10 {
			return answer{}, fmt.Errorf("--soil-heat is %v MJ/m² a day, expected -10 to 10", f.soilHeat.Value)
		}
		e = withSoilHeat(e, f.soilHeat.Value)
	}
	return f.answer(cmd, e, "day"), nil
}

func (f etoFlags) hour(cmd *cobra.Command, place weather.Place) (answer, error) {
	if f.method == "hargreaves" {
		return answer{}, fmt.Errorf("--method hargreaves is for days; an hour takes fao56 or asce")
	}
	if err := firstOf(
		without(cmd, "is of a day; an hour takes --rh or --dewpoint", "rh-min", "rh-max", "rh-mean"),
		without(cmd, "is of a day; an hour takes --solar", "sun-hours"),
		without(cmd, "is of a day; an hour's is reckoned from its radiation", "soil-heat"),
		needs(cmd, "--hourly", "hour-start", "hour-end", "lon", "tz-lon"),
	); err != nil {
		return answer{}, err
	}
	run := weather.Hourly
	if f.method == "asce" {
		run = weather.ASCEHourly
	}
	e, err := run(place, weather.HourWeather{
		DayOfYear: f.day, StartH: f.hourStart.Value, EndH: f.hourEnd.Value, ClockLonDeg: f.tzLon.Value,
		TempC: f.temp, RH: f.rh, DewC: f.dew, WindMS: f.wind, WindHeightM: f.windHeight.Or(0), SolarMJ: f.solar,
		DayMinC: f.tmin, DayMaxC: f.tmax, CloudRatio: f.cloud,
	})
	if err != nil {
		return answer{}, err
	}
	return f.answer(cmd, e, "hour"), nil
}

// withSoilHeat takes heat that goes into the soil out of the radiation term
// (FAO-56 eq. 6), which [weather.Daily] leaves at 0 as FAO-56 does for a day.
func withSoilHeat(e weather.ETo, g float64) weather.ETo {
	den := e.Delta + e.Gamma*(1+0.34*e.U2) // both methods have Cd 0.34 for a day
	e.GMJ = g
	e.RadiationMM -= 0.408 * e.Delta * g / den
	e.MM = max(e.RadiationMM+e.AirFlowMM, 0)
	return e
}

func (f etoFlags) answer(cmd *cobra.Command, e weather.ETo, period string) answer {
	j := etoAnswer{EToMM: e.MM, Period: period, Method: e.Method, Estimated: e.Estimated, TMeanC: e.TMeanC, RaMJ: e.RaMJ}
	if j.Estimated == nil {
		j.Estimated = []string{}
	}
	if !f.elev.Known && f.method != "hargreaves" {
		j.Notes = append(j.Notes, "no --elev: taken at sea level")
	}
	each := map[string]string{"day": "a day", "hour": "an hour"}[period]
	mj := "MJ/m² " + each
	t := []row{
		fig("ETo", e.MM, 2, "mm "+each, ""),
		word("method", e.Method),
		fig("Ra", e.RaMJ, 3, mj, "radiation over the atmosphere"),
	}
	if period == "day" {
		j.DaylightH = &e.DaylightH
		t = append(t, fig("N", e.DaylightH, 2, "h", "daylight"))
	}
	if f.method == "hargreaves" {
		if idle := given(cmd, "rh-min", "rh-max", "rh-mean", "dewpoint", "wind", "sun-hours", "solar", "soil-heat"); len(idle) > 0 {
			j.Notes = append(j.Notes, "Hargreaves-Samani takes temperatures only: "+strings.Join(idle, ", ")+" not used")
		}
	} else {
		j.RsMJ, j.RsoMJ, j.RnsMJ, j.RnlMJ, j.RnMJ, j.GMJ = &e.RsMJ, &e.RsoMJ, &e.RnsMJ, &e.RnlMJ, &e.RnMJ, &e.GMJ
		j.EsKPa, j.EaKPa, j.PressureKPa, j.Delta, j.Gamma, j.U2 = &e.EsKPa, &e.EaKPa, &e.PressureKPa, &e.Delta, &e.Gamma, &e.U2
		t = append(t,
			fig("Rs", e.RsMJ, 3, mj, "solar radiation on the ground"),
			fig("Rso", e.RsoMJ, 3, mj, "the same under a clear sky"),
			fig("Rns", e.RnsMJ, 3, mj, "kept of it"),
			fig("Rnl", e.RnlMJ, 3, mj, "long wave given off"),
			fig("Rn", e.RnMJ, 3, mj, "net radiation"),
			fig("G", e.GMJ, 3, mj, "into the soil"),
			fig("es", e.EsKPa, 4, "kPa", "vapour pressure of saturated air"),
			fig("ea", e.EaKPa, 4, "kPa", "vapour pressure of this air"),
			fig("Δ", e.Delta, 5, "kPa/°C", "slope of saturation"),
			fig("γ", e.Gamma, 5, "kPa/°C", "psychrometric constant"),
			fig("P", e.PressureKPa, 2, "kPa", "air pressure"),
			fig("u2", e.U2, 3, "m/s", "wind at 2 m"),
			fig("radiation term", e.RadiationMM, 3, "mm", ""),
			fig("air term", e.AirFlowMM, 3, "mm", ""),
		)
	}
	for _, x := range e.Estimated {
		t = append(t, word("estimated", x))
	}
	return answer{figures: j, table: t, notes: j.Notes}
}

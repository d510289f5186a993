package main

import (
	"fmt"
	"io"
	"maps"
	"math"
	"slices"
	"strings"
	"text/tabwriter"

	"fabricpot/control/garden"
	"fabricpot/sensors"
	"fabricpot/sensors/calibrate"

	"github.com/go-analyze/charts"
)

// familyName is a family in words.
func familyName(k garden.CalibrationKind) string {
	switch k {
	case garden.TwoPoint:
		return "line through two points"
	case garden.LeastSquares:
		return "line"
	case garden.Quadratic:
		return "parabola"
	case garden.Inverse:
		return "one over the voltage"
	case garden.Interpolated:
		return "monotone curve through the points"
	}
	return string(k)
}

func showFit(w io.Writer, fit *calibrate.Fit) error {
	curve, err := sensors.NewCurve(fit.Calibration)
	if err != nil {
		return err
	}
	plotFit(w, fit, curve)
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintf(t, "curve\t%s\n", familyName(fit.Kind))
	for _, fam := range fit.Families {
		if fam.LOO.Known {
			fmt.Fprintf(t, "  %s\t%.2f points of water when foretelling a point from the others\n", familyName(fam.Kind), 100*fam.LOO.Value)
		} else if len(fit.Points) > 2 {
			fmt.Fprintf(t, "  %s\tnot judged: %s\n", familyName(fam.Kind), fam.Why)
		}
	}
	if fit.RMSE.Known {
		fmt.Fprintf(t, "scatter\t%.2f points of water (root mean square)\n", 100*fit.RMSE.Value)
	}
	fmt.Fprintf(t, "points\t%d, water %.1f to %.1f %%, %.3f to %.3f V\n", len(fit.Points), 100*fit.LoWater, 100*fit.HiWater, fit.LoV, fit.HiV)
	fmt.Fprintf(t, "widest gap\t%.1f to %.1f %%\n", 100*fit.GapFrom, 100*fit.GapTo)
	if fit.TempLo.Known {
		fmt.Fprintf(t, "temperature\t%.1f to %.1f °C\n", fit.TempLo.Value, fit.TempHi.Value)
	} else {
		fmt.Fprintf(t, "temperature\tnot measured\n")
	}
	for _, id := range slices.Sorted(maps.Keys(fit.Calibration.ProbeOffsets)) {
		fmt.Fprintf(t, "probe %s\t%+.2f points of water off the shared shape\n", id, 100*fit.Calibration.ProbeOffsets[id])
	}
	if err := t.Flush(); err != nil {
		return err
	}
	for _, x := range fit.Warnings {
		fmt.Fprintln(w, "note:", x)
	}
	return nil
}

// plotFit draws points (o) and curve (.) with characters.
func plotFit(w io.Writer, fit *calibrate.Fit, curve *sensors.Curve) {
	const width, height = 60, 15
	grid := make([][]rune, height)
	for i := range grid {
		grid[i] = []rune(strings.Repeat(" ", width))
	}
	top := min(1, math.Ceil(fit.HiWater*10+0.5)/10)
	put := func(v, water float64, r rune) {
		x := int(math.Round((v - fit.LoV) / (fit.HiV - fit.LoV) * (width - 1)))
		y := height - 1 - int(math.Round(water/top*(height-1)))
		if x >= 0 && x < width && y >= 0 && y < height {
			grid[y][x] = r
		}
	}
	for i := range width {
		v := fit.LoV + (fit.HiV-fit.LoV)*float64(i)/(width-1)
		water, _ := curve.Water(garden.Volts(v))
		put(v, float64(water), '.')
	}
	for _, p := range fit.Points {
		put(float64(p.Volts), float64(p.Water), 'o')
	}
	for i, row := range grid {
		label := "      "
		if i%7 == 0 {
			label = fmt.Sprintf("%4.0f %%", 100*top*float64(height-1-i)/(height-1))
		}
		fmt.Fprintf(w, "%s |%s\n", label, strings.TrimRight(string(row), " "))
	}
	fmt.Fprintf(w, "       +%s\n", strings.Repeat("-", width))
	fmt.Fprintf(w, "        %-*s%s\n\n", width-7, fmt.Sprintf("%.2f V", fit.LoV), fmt.Sprintf("%.2f V", fit.HiV))
}

// drawFit is the same as an SVG picture.
func drawFit(fit *calibrate.Fit, title string) ([]byte, error) {
	curve, err := sensors.NewCurve(fit.Calibration)
	if err != nil {
		return nil, err
	}
	const steps = 120
	labels := make([]string, steps+1)
	line, dots := make([]float64, steps+1), make([]float64, steps+1)
	for i := range labels {
		v := fit.LoV + (fit.HiV-fit.LoV)*float64(i)/steps
		w, _ := curve.Water(garden.Volts(v))
		labels[i], line[i], dots[i] = fmt.Sprintf("%.2f V", v), 100*float64(w), charts.GetNullValue()
	}
	for _, p := range fit.Points {
		i := int(math.Round((float64(p.Volts) - fit.LoV) / (fit.HiV - fit.LoV) * steps))
		dots[i] = 100 * float64(p.Water)
	}
	painter := charts.NewPainter(charts.PainterOptions{OutputFormat: charts.ChartOutputSVG, Width: 720, Height: 420})
	opt := charts.NewLineChartOptionWithData([][]float64{line, dots})
	opt.Title.Text = title + ": water % by voltage"
	opt.XAxis.Labels = labels
	opt.XAxis.LabelCount = 7
	opt.Legend.SeriesNames = []string{familyName(fit.Kind), "points"}
	opt.SeriesList[0].Symbol.Shape = charts.SymbolNone
	opt.SeriesList[1].Symbol.Shape = charts.SymbolCircle
	if err := painter.LineChart(opt); err != nil {
		return nil, err
	}
	return painter.Bytes()
}

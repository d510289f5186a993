package main

import (
	"fmt"
	"io"
	"maps"
	"math"
	"slices"
	"strings"
	"text/tabwriter"

	"fabricpot/cmd/gateway/internal/picture"
	"fabricpot/control/garden"
	"fabricpot/sensors"
	"fabricpot/sensors/calibrate"
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

// drawFit is the same as an SVG picture: the curve as a line, the points as dots.
func drawFit(fit *calibrate.Fit, title string) ([]byte, error) {
	curve, err := sensors.NewCurve(fit.Calibration)
	if err != nil {
		return nil, err
	}
	const (
		w, h                     = 720, 420
		left, right, top, bottom = 64, w - 24, 52, h - 56
		steps                    = 120
	)
	paper, ink, rule, ours, dots := picture.Hex("#fbf7ec"), picture.Hex("#2a241c"), picture.Hex("#d9cfba"), picture.Hex("#17505f"), picture.Hex("#9a3d12")
	text := picture.Style{Size: 12, Color: ink}
	most := min(1, math.Ceil(fit.HiWater*10+0.5)/10)
	x := func(v float64) int {
		return left + int(math.Round((v-fit.LoV)/(fit.HiV-fit.LoV)*(right-left)))
	}
	y := func(water float64) int {
		return bottom - int(math.Round(max(0, min(water/most, 1))*(bottom-top)))
	}
	c := picture.New(w, h)
	c.Rect(0, 0, w, h, paper)
	c.Text(title+": water % by voltage", 20, 28, picture.Style{Size: 14, Color: ink})
	for i := range int(math.Round(10*most)) + 1 {
		water := float64(i) / 10
		c.Line([]picture.Point{{X: left, Y: y(water)}, {X: right, Y: y(water)}}, rule, 1)
		c.Text(fmt.Sprintf("%.0f %%", 100*water), 14, y(water)+4, text)
	}
	const labels = 6
	for i := range labels + 1 {
		v := fit.LoV + (fit.HiV-fit.LoV)*float64(i)/labels
		c.Line([]picture.Point{{X: x(v), Y: bottom}, {X: x(v), Y: bottom + 4}}, ink, 1)
		words := fmt.Sprintf("%.2f V", v)
		wide := picture.Width(words, text)
		c.Text(words, min(x(v)-wide/2, w-4-wide), bottom+20, text)
	}
	line := make([]picture.Point, steps+1)
	for i := range line {
		v := fit.LoV + (fit.HiV-fit.LoV)*float64(i)/steps
		water, _ := curve.Water(garden.Volts(v))
		line[i] = picture.Point{X: x(v), Y: y(float64(water))}
	}
	c.Line(line, ours, 2.5)
	for _, p := range fit.Points {
		c.Dot(x(float64(p.Volts)), y(float64(p.Water)), 5, dots)
	}
	const key = h - 14
	c.Line([]picture.Point{{X: left, Y: key - 4}, {X: left + 24, Y: key - 4}}, ours, 2.5)
	c.Text(familyName(fit.Kind), left+32, key, text)
	points := left + 32 + picture.Width(familyName(fit.Kind), text)*6/5 + 24
	c.Dot(points, key-4, 5, dots)
	c.Text("points", points+12, key, text)
	return c.Bytes(), nil
}

package main

import (
	"fmt"
	"os"

	"fabricpot/control/garden"
	"fabricpot/sensors"
	"fabricpot/sensors/calibrate"
	"fabricpot/sensors/permittivity"

	"github.com/spf13/cobra"
)

type probeFlags struct {
	points, fit, equation string
	reading, eps, bulk    garden.Measured
}

// probeAnswer is the JSON of calc probe by calibration points.
type probeAnswer struct {
	Water    float64  `json:"water"`
	Reading  float64  `json:"reading"`
	Curve    string   `json:"curve"`
	Points   int      `json:"points"`
	FromV    float64  `json:"from_v"`
	ToV      float64  `json:"to_v"`
	OutsideV float64  `json:"outside_v"`
	RMSE     *float64 `json:"rmse,omitempty"`
	// Curves are all that were judged.
	Curves []curveAnswer `json:"curves,omitempty"`
	Notes  []string      `json:"notes,omitempty"`
}

// curveAnswer is one curve's error when foretelling each point from the others.
type curveAnswer struct {
	Name        string   `json:"curve"`
	LeaveOneOut *float64 `json:"leave_one_out,omitempty"`
	Why         string   `json:"not_judged,omitempty"`
}

// fits are the words of --fit.
var fits = []struct {
	word string
	kind garden.CalibrationKind
}{
	{"best", garden.NoCurve}, {"line", garden.LeastSquares}, {"parabola", garden.Quadratic},
	{"inverse", garden.Inverse}, {"curve", garden.Interpolated},
}

// permittivityAnswer is the JSON of calc probe by permittivity.
type permittivityAnswer struct {
	Permittivity float64          `json:"permittivity"`
	BulkDensity  *float64         `json:"bulk_density,omitempty"`
	Water        *float64         `json:"water,omitempty"`
	Equations    []equationAnswer `json:"equations"`
	Notes        []string         `json:"notes,omitempty"`
}

type equationAnswer struct {
	Name    string  `json:"equation"`
	Water   float64 `json:"water"`
	For     string  `json:"made_for"`
	Source  string  `json:"source"`
	Caution string  `json:"caution,omitempty"`
}

func calcProbe(s streams) *cobra.Command {
	var f probeFlags
	cmd := &cobra.Command{
		Use:   "probe --points FILE --reading V | --permittivity E [--equation NAME]",
		Short: "What a probe's reading means in water",
		Long: `probe turns one reading into water fraction, in one of two ways.

By your own calibration: --points names a table with the columns volts,water (a
line a point, water as a fraction) and --reading the probe's volts. Two points
give a line. From more, a line, a parabola, one over the voltage and a monotone
curve are compared by how well each foretells a point from the others, as
'gateway calibrate' does; --fit settles one. A table that is not monotone or spans
too little is refused with the reason.

By permittivity, for probes that measure it: a published equation, or all of them
side by side. Topp's, the best known, was made in mineral soil and reads 5 to 17
points of water too low in peat mixes. Your own two points beat any equation.`,
		Example: `  gateway calc probe --points my-mix.csv --reading 1.62
  With the points 2.80 V at 0.05 (dry) and 1.20 V at 0.61 (drained) the line falls
  0.35 for each volt: 1.62 V is 0.61 - 0.35·0.42 = 0.463.

  gateway calc probe --permittivity 20 --bulk-density 0.15
  gateway calc probe --permittivity 20 --equation kellner`,
		Args: usage(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			a, err := f.work(cmd)
			if err != nil {
				return err
			}
			return reply(s, cmd, a)
		},
	}
	fl := cmd.Flags()
	fl.SortFlags = false
	fl.StringVar(&f.points, "points", "", "calibration points, a CSV `FILE` of volts,water")
	numberFlag(fl, &f.reading, "reading", "the probe's reading in `volts`")
	fl.StringVar(&f.fit, "fit", "best", "`best`, line, parabola, inverse or curve")
	numberFlag(fl, &f.eps, "permittivity", "relative permittivity ε, in place of volts")
	fl.StringVar(&f.equation, "equation", "", "one equation by its `name`; none: all of them")
	numberFlag(fl, &f.bulk, "bulk-density", "the mix's dry bulk density in g/cm³ (for malicki)")
	return cmd
}

func (f probeFlags) work(cmd *cobra.Command) (answer, error) {
	if err := apart(cmd, "a reading is either volts or permittivity", []string{"points", "reading", "fit"},
		[]string{"permittivity", "equation", "bulk-density"}); err != nil {
		return answer{}, err
	}
	if len(given(cmd, "permittivity", "equation", "bulk-density")) > 0 {
		if err := needs(cmd, "an equation", "permittivity"); err != nil {
			return answer{}, err
		}
		a, err := f.byPermittivity()
		return a, asked(err)
	}
	if err := needs(cmd, "a reading", "points", "reading"); err != nil {
		return answer{}, err
	}
	return f.byPoints()
}

// byPoints fails on what is in the file, which is not a wrong command line.
func (f probeFlags) byPoints() (answer, error) {
	var words []string
	kind, known := garden.NoCurve, false
	for _, x := range fits {
		words = append(words, x.word)
		if x.word == f.fit {
			kind, known = x.kind, true
		}
	}
	if !known {
		return answer{}, unknownWord("--fit", f.fit, words)
	}
	v := f.reading.Value
	if v < 0 || v > 5.5 {
		return answer{}, wrongUse{fmt.Errorf("--reading is %v V, expected 0 to 5.5", v)}
	}
	file, err := os.Open(f.points)
	if err != nil {
		return answer{}, fmt.Errorf("calibration points: %w", err)
	}
	defer file.Close()
	table, rows, err := calibrate.ReadTable(file, f.points)
	if err != nil {
		return answer{}, err
	}
	if table != calibrate.TableWater {
		return answer{}, fmt.Errorf("%s: column %s, expected water: 'gateway calibrate' makes a calibration of it", f.points, table)
	}
	points := make([]calibrate.Point, len(rows))
	for i, r := range rows {
		points[i] = calibrate.Point{Probe: r.Probe, Volts: r.Volts, Water: garden.WaterFraction(r.Value), TempC: r.TempC}
	}
	fit, err := drawn(kind, points)
	if err != nil {
		return answer{}, fmt.Errorf("%s: %w", f.points, err)
	}
	c, err := sensors.NewCurve(fit.Calibration)
	if err != nil {
		return answer{}, fmt.Errorf("%s: %w", f.points, err)
	}
	name := familyName(fit.Kind)
	w, outside := c.Water(garden.Volts(v))
	lo, hi := c.Span()
	j := probeAnswer{Water: float64(w), Reading: v, Curve: name, Points: len(points), FromV: float64(lo), ToV: float64(hi), OutsideV: outside}
	t := []row{
		fig("water", j.Water, 4, "of volume", ""),
		fig("reading", v, 3, "V", ""),
		row{"calibrated", fmt.Sprintf("%.3f", lo), "V", fmt.Sprintf("to %.3f V, %d points", hi, len(points))},
		word("curve", name),
	}
	if fit.RMSE.Known {
		j.RMSE = &fit.RMSE.Value
		t = append(t, fig("scatter", fit.RMSE.Value, 4, "of volume", "root mean square of the points about the curve"))
	}
	for _, fam := range fit.Families {
		x := curveAnswer{Name: familyName(fam.Kind), Why: fam.Why}
		if fam.LOO.Known {
			x.LeaveOneOut = &fam.LOO.Value
			t = append(t, fig("error by the others", fam.LOO.Value, 4, "of volume", x.Name+", each point foretold from the others"))
		}
		if len(points) > 2 {
			j.Curves = append(j.Curves, x)
		}
	}
	if n := len(fit.Calibration.ProbeOffsets); n > 1 {
		j.Notes = append(j.Notes, fmt.Sprintf("the table has %d probes; this is what their mean says", n))
	}
	if outside > 0 {
		j.Notes = append(j.Notes, fmt.Sprintf("the reading lies %.3g V outside the calibrated span: the curve goes straight on there, and nothing was measured", outside))
	}
	return answer{figures: j, table: t, notes: j.Notes}, nil
}

// drawn is the curve asked for, or the one that foretells best.
func drawn(kind garden.CalibrationKind, points []calibrate.Point) (*calibrate.Fit, error) {
	if kind == garden.NoCurve {
		return calibrate.Choose(points)
	}
	return calibrate.Draw(kind, points)
}

func (f probeFlags) byPermittivity() (answer, error) {
	if err := permittivity.CheckEps(f.eps.Value); err != nil {
		return answer{}, err
	}
	j := permittivityAnswer{Permittivity: f.eps.Value}
	if f.bulk.Known {
		j.BulkDensity = &f.bulk.Value
	}
	all := permittivity.Equations()
	if f.equation != "" {
		e, ok := permittivity.Lookup(f.equation)
		if !ok {
			return answer{}, unknownWord("--equation", f.equation, permittivity.Names())
		}
		all = []permittivity.Equation{e}
	}
	var t []row
	for _, e := range all {
		w, err := e.Water(f.eps.Value, f.bulk)
		if err != nil {
			if f.equation != "" {
				return answer{}, err
			}
			// An absurd density is the caller's, whichever equation asked.
			if e.NeedsDensity && f.bulk.Known && f.eps.Value >= e.FromEps && f.eps.Value <= e.ToEps {
				return answer{}, err
			}
			j.Notes = append(j.Notes, e.Name+" left out: "+err.Error())
			continue
		}
		v := float64(w)
		if f.equation != "" {
			j.Water = &v
		}
		j.Equations = append(j.Equations, equationAnswer{e.Name, v, e.For, e.Source, e.Caution})
		t = append(t, fig(e.Name, v, 4, "of volume", e.For+"; "+e.Source))
		if f.equation == e.Name && e.Caution != "" {
			j.Notes = append(j.Notes, e.Name+" "+e.Caution)
		}
	}
	if len(t) == 0 {
		return answer{}, fmt.Errorf("permittivity %v is outside the range of every equation", f.eps.Value)
	}
	if f.equation == "" {
		j.Notes = append(j.Notes, "topp, ledieu and roth-mineral read 5 to 17 points too low in peat and other organic mixes; your own two points in the mix beat any equation")
	}
	return answer{figures: j, table: t, notes: j.Notes}, nil
}

package season

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"sort"
	"time"

	"fabricpot/cmd/gateway/internal/picture"
	"fabricpot/sim/policy"
)

// Pictures of a trial are SVG. The axes are drawn here, so that they say what
// they mean in words.

const (
	pictureW, pictureH = 900, 560
	pictureCurveH      = 900
)

// ErrNothingToDraw is what drawing answers where a set has nothing of that kind.
var ErrNothingToDraw = errors.New("trial: nothing to draw")

type trialInk struct{ paper, text, rule, ours, rival, ideal picture.Color }

func trialInks() trialInk {
	return trialInk{paper: picture.Hex("#fbf7ec"), text: picture.Hex("#2a241c"), rule: picture.Hex("#d9cfba"),
		ours: picture.Hex("#17505f"), rival: picture.Hex("#9a3d12"), ideal: picture.Hex("#6b2f7d")}
}

func (k trialInk) of(name string) picture.Color {
	switch name {
	case policy.Gateway:
		return k.ours
	case policy.Ideal:
		return k.ideal
	}
	return k.rival
}

// sheet is a blank picture with a frame.
type sheet struct {
	*picture.Painter
	ink                      trialInk
	text, small              picture.Style
	left, right, top, bottom int
}

func newSheet(w, h int, title string) *sheet {
	k := trialInks()
	s := &sheet{Painter: picture.New(w, h), ink: k,
		text: picture.Style{Size: 14, Color: k.text}, small: picture.Style{Size: 12, Color: k.text},
		left: 80, right: w - 40, top: 60, bottom: h - 70}
	s.Rect(0, 0, w, h, k.paper)
	s.Text(title, 20, 30, picture.Style{Size: 16, Color: k.text})
	return s
}

func (s *sheet) line(x1, y1, x2, y2 int, c picture.Color, width float64) {
	s.Line([]picture.Point{{X: x1, Y: y1}, {X: x2, Y: y2}}, c, width)
}

// scale is a linear axis.
type scale struct {
	lo, hi   float64
	from, to int
}

func (a scale) at(v float64) int {
	f := (v - a.lo) / math.Max(a.hi-a.lo, 1e-9)
	return a.from + int(math.Round(math.Min(1, math.Max(0, f))*float64(a.to-a.from)))
}

// steps are round values over the axis, at most about n.
func (a scale) steps(n int) []float64 {
	step := math.Pow(10, math.Floor(math.Log10(math.Max(a.hi-a.lo, 1e-9))))
	for _, f := range []float64{0.1, 0.2, 0.5, 1, 2} {
		if (a.hi-a.lo)/(step*f) <= float64(n) {
			step *= f
			break
		}
	}
	var out []float64
	for v := math.Ceil(a.lo/step-1e-9) * step; v <= a.hi+1e-9; v += step {
		out = append(out, v)
	}
	return out
}

// DrawWaterAgainstStress shows each policy by what it gives and what its plants
// still lose; the ideal gives 1.0 and
// loses nothing. The stress axis is a
// square root, so that one in a hundred can be told from none.
func DrawWaterAgainstStress(rows []TrialRow, title string) ([]byte, error) {
	s := newSheet(pictureW, pictureH, title)
	most, lost := 1.5, 0.05
	for _, r := range rows {
		most, lost = math.Max(most, 1.05*r.TimesIdeal.Mean), math.Max(lost, 1.05*r.LostShare.Mean)
	}
	least := 0.95
	for _, r := range rows {
		least = math.Min(least, r.TimesIdeal.Mean-0.05)
	}
	x := scale{least, most, s.left, s.right - 130}
	y := scale{0, math.Sqrt(lost), s.bottom, s.top}
	for _, v := range x.steps(8) {
		s.line(x.at(v), s.top, x.at(v), s.bottom, s.ink.rule, 1)
		s.Text(fmt.Sprintf("%.1f", v), x.at(v)-8, s.bottom+20, s.small)
	}
	for _, v := range []float64{0, .001, .005, .01, .02, .05, .1, .2, .3, .4, .5} {
		if v <= lost {
			at := y.at(math.Sqrt(v))
			s.line(s.left, at, s.right-130, at, s.ink.rule, 1)
			s.Text(fmt.Sprintf("%g %%", 100*v), 24, at+5, s.small)
		}
	}
	s.Text("water given, times the ideal", s.left, s.bottom+48, s.text)
	s.Text("transpiration lost", 20, s.top-12, s.small)
	var taken []box
	// From the left, so that labels of neighbours stack in a stable order.
	rows = slices.Clone(rows)
	sort.SliceStable(rows, func(i, j int) bool {
		a, b := &rows[i], &rows[j]
		return compareBy(b.LostShare.Mean, a.LostShare.Mean, a.TimesIdeal.Mean, b.TimesIdeal.Mean) < 0
	})
	for _, r := range rows {
		px, py := x.at(r.TimesIdeal.Mean), y.at(math.Sqrt(r.LostShare.Mean))
		taken = append(taken, box{left: px - 7, right: px + 7, top: py - 7, bottom: py + 7})
	}
	for _, r := range rows {
		px, py := x.at(r.TimesIdeal.Mean), y.at(math.Sqrt(r.LostShare.Mean))
		c := s.ink.of(r.Policy)
		if r.Policy == policy.Ideal {
			s.Diamond(px, py, 16, 16, c)
		} else {
			s.Dot(px, py, 6, c)
		}
		s.label(r.Policy, px+9, py+5, c, &taken)
	}
	return s.Bytes(), nil
}

// box is room that is taken.
type box struct{ left, right, top, bottom int }

func compareBy(v ...float64) int {
	for i := 0; i+1 < len(v); i += 2 {
		if v[i] != v[i+1] {
			if v[i] < v[i+1] {
				return -1
			}
			return 1
		}
	}
	return 0
}

// label writes words beside a point, higher up where others are in the way, with
// a thin line back to the point.
func (s *sheet) label(words string, x, y int, c picture.Color, taken *[]box) {
	style := picture.Style{Size: 12, Color: c}
	wide := picture.Width(words, style)
	at := y
	for try := 0; try < 30; try++ {
		free := true
		for _, b := range *taken {
			if x < b.right && x+wide > b.left && at-12 < b.bottom && at+3 > b.top {
				free = false
			}
		}
		if free {
			break
		}
		at -= 8
	}
	if at < y-10 {
		s.line(x-4, y-5, x-2, at, c, 1)
	}
	*taken = append(*taken, box{left: x, right: x + wide + 6, top: at - 12, bottom: at + 3})
	s.Text(words, x, at, style)
}

// DrawPotSeason shows one pot's water through a season under each policy, a strip
// each.
func DrawPotSeason(runs []TrialRun, c TrialCase, pot string) ([]byte, error) {
	s := newSheet(pictureW, pictureCurveH, "Water in one pot ("+pot+"), "+c.Name+", under each policy")
	var with []TrialRun
	lo, hi := 1.0, 0.0
	for _, name := range policy.Names() {
		for _, r := range runs {
			if r.Policy == name && r.Case == c.Name && r.Seed == 1 && len(r.Curve) > 1 {
				with = append(with, r)
				lo, hi = math.Min(lo, slices.Min(r.Curve)), math.Max(hi, slices.Max(r.Curve))
			}
		}
	}
	if len(with) == 0 {
		return nil, fmt.Errorf("%w: no run of %s has a curve", ErrNothingToDraw, c.Name)
	}
	strip := (s.bottom - s.top) / len(with)
	for i, r := range with {
		y := scale{lo, hi, s.top + (i+1)*strip - 8, s.top + i*strip + 18}
		x := scale{0, float64(len(r.Curve) - 1), s.left, s.right}
		for _, v := range y.steps(3) {
			s.line(s.left, y.at(v), s.right, y.at(v), s.ink.rule, 1)
			s.Text(fmt.Sprintf("%.0f %%", 100*v), 30, y.at(v)+4, s.small)
		}
		points := make([]picture.Point, 0, len(r.Curve))
		for k, v := range r.Curve {
			points = append(points, picture.Point{X: x.at(float64(k)), Y: y.at(v)})
		}
		s.Line(points, s.ink.of(r.Policy), 1.5)
		s.Text(r.Policy, s.left+6, s.top+i*strip+14, picture.Style{Size: 12, Color: s.ink.of(r.Policy)})
	}
	days := len(with[0].Curve) / 4
	x := scale{0, float64(days), s.left, s.right}
	from := c.from(time.UTC)
	for d := 0; d <= days; d++ {
		if at := from.AddDate(0, 0, d); at.Day() == 1 || d == 0 {
			s.line(x.at(float64(d)), s.bottom, x.at(float64(d)), s.bottom+5, s.ink.text, 1)
			s.Text(at.Format("2 Jan"), x.at(float64(d))-16, s.bottom+22, s.small)
		}
	}
	return s.Bytes(), nil
}

// DrawFaults shows what each fault costs the gateway and its rivals: the share of
// transpiration that the whole terrace loses, and a mark for the worst pot.
func DrawFaults(set TrialSet, rows []TrialRow) ([]byte, error) {
	var cases []TrialCase
	for _, c := range set.Cases {
		if c.Fault.Kind != noFault {
			cases = append(cases, c)
		}
	}
	if len(cases) == 0 {
		return nil, fmt.Errorf("%w: no case has a fault", ErrNothingToDraw)
	}
	names := compared()
	s := newSheet(pictureW, 120+len(cases)*(16*len(names)+14), "What one fault costs: transpiration lost, all pots (bar) and worst pot (diamond)")
	s.left = 390
	x := scale{0, 1, s.left, s.right}
	for _, v := range []float64{0, .01, .05, .1, .2, .4, .7, 1} {
		at := x.at(math.Sqrt(v))
		s.line(at, s.top, at, s.bottom, s.ink.rule, 1)
		s.Text(fmt.Sprintf("%.0f %%", 100*v), at-10, s.bottom+20, s.small)
	}
	y := s.top + 4
	for _, c := range cases {
		s.Text(c.Name, 20, y+14, s.small)
		for _, name := range names {
			i := slices.IndexFunc(rows, func(r TrialRow) bool { return r.Case == c.Name && r.Policy == name })
			style := picture.Style{Size: 10, Color: s.ink.of(name)}
			wide := picture.Width(name, style)
			// Fonts differ: room for one a fifth wider than the one measured.
			s.Text(name, s.left-10-wide*6/5, y+11, style)
			if i < 0 {
				s.Text("as without", s.left+6, y+11, style)
			} else {
				r, col := rows[i], s.ink.of(name)
				s.Rect(s.left, y+2, max(s.left+2, x.at(math.Sqrt(r.LostShare.Mean))), y+12, col)
				s.Diamond(x.at(math.Sqrt(r.WorstPot.Mean)), y+7, 9, 9, col)
			}
			y += 16
		}
		y += 14
	}
	return s.Bytes(), nil
}

// DrawAllSeasons is DrawWaterAgainstStress of the seasons together.
func DrawAllSeasons(rows []TrialRow) ([]byte, error) {
	pool := Pooled(rows, groupSeasons, "all seasons")
	if len(pool) == 0 {
		return nil, fmt.Errorf("%w: no case is a whole season without faults", ErrNothingToDraw)
	}
	return DrawWaterAgainstStress(pool, "Water against stress, all seasons: the ideal gives 1.0 and loses nothing")
}

// DrawCurves is DrawPotSeason of the set's case that keeps curves.
func DrawCurves(set TrialSet, runs []TrialRun) ([]byte, error) {
	for _, c := range set.Cases {
		for _, r := range runs {
			if c.Curve && r.Case == c.Name && len(r.Curve) > 0 {
				return DrawPotSeason(runs, c, r.Zones[0].Name)
			}
		}
	}
	return nil, fmt.Errorf("%w: no case keeps a curve", ErrNothingToDraw)
}

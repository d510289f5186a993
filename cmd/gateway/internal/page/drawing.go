package page

import (
	"fmt"
	"strings"

	"fabricpot/control/garden"
)

// scale is what all pots share, so that they can be compared: the canvas that
// the widest and the tallest fit into. One unit of the drawing is a centimetre.
type scale struct{ w, h float64 }

const (
	sideCM  = 11 // room for the handles and marks beside a pot
	aboveCM = 9  // room for drops above
	belowCM = 3
	// fullAt is how high up the mix the full mark stands: room is left over it
	// for what has not drained yet.
	fullAt = 0.86
)

func scaleOf(g *garden.Garden) scale {
	s := scale{w: 30, h: 30}
	for i := range g.Pots {
		sh := shapeOf(&g.Pots[i])
		s.w = max(s.w, sh.TopDiameterCM, sh.BottomDiameterCM)
		s.h = max(s.h, sh.HeightCM)
	}
	s.w += 2 * sideCM
	s.h = s.h*1.06 + aboveCM + belowCM
	return s
}

// shapeOf is a shape that can be drawn, whatever the garden says.
func shapeOf(p *garden.Pot) garden.Shape {
	s := p.Shape
	for _, v := range []*float64{&s.HeightCM, &s.TopDiameterCM, &s.BottomDiameterCM} {
		if !garden.Finite(*v) {
			*v = 30
		}
		*v = min(max(*v, 5), 400)
	}
	return s
}

// drawing is one pot, ready to be written as SVG.
type drawing struct {
	ViewBox, Clip, Label   string
	Floor, FloorX2         string
	Body, Rim, Left, Right string
	MixX, MixY, MixW, MixH string
	Fills                  []fillDrawing
	Dividers               []segment
	Pouring                bool
	Drops                  []segment
	Seam                   string
	BarX1, BarX2, BarY     string
}

// fillDrawing is the water and the marks of one zone of the pot.
type fillDrawing struct {
	// Path is the water with its surface; empty where nothing is known.
	Path    string
	Surface string
	Refill  segment
	Full    segment
	// Wedge points at the refill mark from outside the pot; it is a shape, so
	// that the mark is not known by its colour alone.
	Wedge string
}

type segment struct{ X1, Y1, X2, Y2 string }

// level is how a zone stands, as shares of what the drained pot holds.
type level struct {
	share, held, refill float64
	known               bool
}

func draw(s scale, pot *garden.Pot, zones []level, label string, pouring bool) drawing {
	sh := shapeOf(pot)
	floor := s.h - belowCM
	mid := s.w / 2
	top := floor - sh.HeightCM
	rim := top - 0.06*sh.HeightCM
	tl, tr := mid-sh.TopDiameterCM/2, mid+sh.TopDiameterCM/2
	bl, br := mid-sh.BottomDiameterCM/2, mid+sh.BottomDiameterCM/2
	belly := 0.035 * sh.HeightCM // fabric bulges
	y := floor - 0.45*sh.HeightCM
	d := drawing{
		ViewBox: sprintf("0 0 %s %s", n(s.w), n(s.h)), Clip: "pot-" + string(pot.ID), Label: label,
		Floor: n(floor), FloorX2: n(s.w), Pouring: pouring,
		Body: sprintf("M%s %sC%s %s %s %s %s %sL%s %sC%s %s %s %s %s %sZ",
			n(tl), n(rim), n(tl-belly), n(y), n(bl-belly), n(floor-2), n(bl), n(floor),
			n(br), n(floor), n(br+belly), n(floor-2), n(tr+belly), n(y), n(tr), n(rim)),
		Rim:  sprintf("M%s %sQ%s %s %s %s", n(tl-1), n(rim), n(mid), n(rim+1.6), n(tr+1), n(rim)),
		Seam: sprintf("M%s %sQ%s %s %s %s", n(tl), n(rim+2.4), n(mid), n(rim+4), n(tr), n(rim+2.4)),
		Left: strap(tl, rim, sh.HeightCM, -1), Right: strap(tr, rim, sh.HeightCM, 1),
		MixX: n(min(tl, bl) - belly), MixY: n(top), MixW: n(max(tr, br) - min(tl, bl) + 2*belly), MixH: n(sh.HeightCM),
	}
	x := min(tl, bl) - belly
	width := max(tr, br) + belly - x
	for i, z := range zones {
		w := width * z.share
		full := floor - fullAt*sh.HeightCM
		refill := floor - fullAt*sh.HeightCM*clamp(z.refill, 0, 1.1)
		f := fillDrawing{
			Full:   segment{n(x + 0.08*w), n(full), n(x + 0.92*w), n(full)},
			Refill: segment{n(x), n(refill), n(x + w), n(refill)},
		}
		if i == 0 {
			f.Wedge = sprintf("M%s %sl-4 -2.4v4.8z", n(tl-0.8), n(refill))
		} else if i == len(zones)-1 {
			f.Wedge = sprintf("M%s %sl4 -2.4v4.8z", n(tr+0.8), n(refill))
		}
		if z.known {
			at := floor - sh.HeightCM*clamp(fullAt*z.held, 0, 0.98)
			wave := 0.9
			f.Surface = sprintf("M%s %sq%s %s %s 0t%s 0t%s 0t%s 0", n(x), n(at), n(w/8), n(-wave), n(w/4), n(w/4), n(w/4), n(w/4))
			f.Path = sprintf("%sV%sH%sZ", f.Surface, n(floor), n(x))
		}
		d.Fills = append(d.Fills, f)
		x += w
		if i < len(zones)-1 {
			d.Dividers = append(d.Dividers, segment{n(x), n(top), n(x), n(floor)})
		}
	}
	if pouring {
		for i := range 3 {
			cx := mid + (float64(i)-1)*sh.TopDiameterCM/3.2
			d.Drops = append(d.Drops, segment{n(cx), n(rim - 7), n(cx), n(rim - 1)})
		}
	}
	return d
}

// strap is one of the two handles that fabric pots are carried by.
func strap(x, rim, height float64, side float64) string {
	return sprintf("M%s %sc%s %s %s %s 0 %s", n(x), n(rim+0.08*height), n(side*5.5), n(-0.4), n(side*5.5), n(0.17*height), n(0.17*height))
}

func clamp(v, lo, hi float64) float64 {
	if !(v > lo) { // NaN too
		return lo
	}
	return min(v, hi)
}

// n writes a coordinate briefly: a tenth of a millimetre is enough.
func n(v float64) string {
	s := fmt.Sprintf("%.1f", v)
	return strings.TrimSuffix(strings.TrimSuffix(s, "0"), ".")
}

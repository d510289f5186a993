// Package picture draws with straight lines, circles and words, as SVG
// (https://www.w3.org/TR/SVG11/). It knows no chart: axes are drawn by those who
// know what they mean.
package picture

import (
	"bytes"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"
)

// Color is one that hides what is below it.
type Color struct{ R, G, B uint8 }

// Hex reads #rrggbb, and black where it is none.
func Hex(s string) Color {
	v, err := strconv.ParseUint(strings.TrimPrefix(s, "#"), 16, 24)
	if err != nil || len(s) != 7 {
		return Color{}
	}
	return Color{uint8(v >> 16), uint8(v >> 8), uint8(v)}
}

func (c Color) css() string { return fmt.Sprintf("rgb(%d,%d,%d)", c.R, c.G, c.B) }

// Point is a place in pixels from the upper left corner.
type Point struct{ X, Y int }

// Style is how words are written: size in points, of which 72 are 96 pixels.
type Style struct {
	Size  float64
	Color Color
}

// Painter draws a picture, later things over earlier ones.
type Painter struct{ b bytes.Buffer }

// New begins a picture of so many pixels.
func New(width, height int) *Painter {
	p := &Painter{}
	fmt.Fprintf(&p.b, `<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" viewBox="0 0 %d %d">`, width, height)
	return p
}

// Bytes is what was drawn so far.
func (p *Painter) Bytes() []byte { return append(slices.Clone(p.b.Bytes()), "</svg>"...) }

// Line draws a line through points.
func (p *Painter) Line(points []Point, c Color, width float64) { p.Dashed(points, c, width, nil) }

// Dashed draws a line through points with dashes and gaps of the given lengths,
// in pixels, in turn.
func (p *Painter) Dashed(points []Point, c Color, width float64, dashes []float64) {
	switch len(points) {
	case 0:
		return
	case 1: // a line of one point is a dot
		p.circle(points[0], 2, "stroke-width:"+decimal(width)+";stroke:"+c.css()+";fill:none")
		return
	}
	var attr string
	for i, d := range dashes {
		if i > 0 {
			attr += ", "
		}
		attr += decimal(d)
	}
	if attr != "" {
		attr = ` stroke-dasharray="` + attr + `"`
	}
	p.path(attr, points, "stroke-width:"+decimal(width)+";stroke:"+c.css()+";fill:none")
}

// Area fills what the points go round.
func (p *Painter) Area(points []Point, c Color) {
	if len(points) > 0 {
		p.path("", points, "stroke:none;fill:"+c.css())
	}
}

// Rect fills a rectangle between two corners.
func (p *Painter) Rect(x1, y1, x2, y2 int, c Color) {
	p.Area([]Point{{x1, y1}, {x2, y1}, {x2, y2}, {x1, y2}, {x1, y1}}, c)
}

// Diamond fills a square on its corner about a middle.
func (p *Painter) Diamond(x, y, width, height int, c Color) {
	w, h := width/2, height/2
	p.Area([]Point{{x, y - h}, {x + w, y}, {x, y + h}, {x - w, y}, {x, y - h}}, c)
}

// Dot fills a circle about a middle.
func (p *Painter) Dot(x, y int, radius float64, c Color) {
	p.circle(Point{x, y}, radius, "stroke-width:1;stroke:"+c.css()+";fill:"+c.css())
}

func (p *Painter) circle(at Point, radius float64, style string) {
	fmt.Fprintf(&p.b, `<circle cx="%d" cy="%d" r="%s" style="%s"/>`, at.X, at.Y, decimal(radius), style)
}

func (p *Painter) path(attr string, points []Point, style string) {
	p.b.WriteString("<path" + attr + ` d="`)
	for i, at := range points {
		step := "\nL "
		if i == 0 {
			step = "M "
		}
		p.b.WriteString(step + strconv.Itoa(at.X) + " " + strconv.Itoa(at.Y))
	}
	p.b.WriteString(`" style="` + style + `"/>`)
}

// Text writes words, the foot of the first letter's left edge at the place given.
func (p *Painter) Text(words string, x, y int, s Style) {
	fmt.Fprintf(&p.b, `<text x="%d" y="%d" style="stroke:none;fill:%s;font-size:%spx;font-family:'Roboto Medium',sans-serif">%s</text>`,
		x, y, s.Color.css(), strconv.FormatFloat(math.Round(10*pixels(s.Size))/10, 'f', -1, 64), escape(words))
}

// escape writes words as XML's character data, without what XML 1.0 forbids.
func escape(s string) string {
	s = strings.Map(func(r rune) rune {
		if r < 0x20 && r != '\t' && r != '\n' && r != '\r' || r == 0xFFFE || r == 0xFFFF {
			return -1
		}
		return r
	}, strings.ToValidUTF8(s, string(utf8.RuneError)))
	return strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;").Replace(s)
}

func decimal(v float64) string {
	return strconv.FormatFloat(math.Round(100*v)/100, 'f', -1, 64)
}

func pixels(points float64) float64 { return points * 96 / 72 }

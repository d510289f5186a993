package picture

import (
	"encoding/xml"
	"io"
	"strings"
	"testing"

	"github.com/go-analyze/charts"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestSameAsALibrary draws the same with a library that draws charts: the bytes
// are the same.
func TestSameAsALibrary(t *testing.T) {
	c := charts.NewPainter(charts.PainterOptions{OutputFormat: charts.ChartOutputSVG, Width: 200, Height: 100})
	p := New(200, 100)
	const hex = "#1122fe"
	ink, their := Hex(hex), charts.ColorFromHex(hex)
	ours := []Point{{1, 2}, {30, -4}, {5, 60}}
	theirs := []charts.Point{{X: 1, Y: 2}, {X: 30, Y: -4}, {X: 5, Y: 60}}

	p.Rect(1, 2, 30, 40, ink)
	c.FilledRect(1, 2, 30, 40, their, their, 0)
	p.Line(ours, ink, 2.5)
	c.LineStroke(theirs, their, 2.5)
	p.Line(ours[:1], ink, 1)
	c.LineStroke(theirs[:1], their, 1)
	p.Line(nil, ink, 1)
	c.LineStroke(nil, their, 1)
	p.Dashed(ours, ink, 2, []float64{7, 4.25})
	c.DashedLineStroke(theirs, their, 2, []float64{7, 4.25})
	p.Area(ours, ink)
	c.FillArea(theirs, their)
	p.Area(nil, ink)
	c.FillArea(nil, their)
	p.Diamond(50, 60, 11, 14, ink)
	c.FilledDiamond(50, 60, 11, 14, their, their, 0)
	p.Dot(70, 71, 6, ink)
	c.Circle(6, 70, 71, their, their, 1)
	for _, size := range []float64{10, 12, 14, 16} {
		for _, words := range []string{"12.5 %", `a<b> & "c" 'd'`, "πότισμα\x01\uFFFE\t!", "bad \xff"} {
			p.Text(words, 3, 4, Style{size, ink})
			c.Text(words, 3, 4, 0, charts.FontStyle{FontSize: size, FontColor: their})
		}
	}
	want, err := c.Bytes()
	require.NoError(t, err)
	assert.Equal(t, string(want), string(p.Bytes()))
	assert.Equal(t, string(want), string(p.Bytes()), "asked again")

	for d := xml.NewDecoder(strings.NewReader(string(p.Bytes()))); ; {
		if _, err := d.Token(); err != io.EOF {
			require.NoError(t, err)
			continue
		}
		break
	}
}

// TestWidth holds the widths of words against the font itself, which lets some
// pairs of letters stand closer.
func TestWidth(t *testing.T) {
	c := charts.NewPainter(charts.PainterOptions{OutputFormat: charts.ChartOutputSVG, Width: 20, Height: 20})
	for _, size := range []float64{10, 12, 14, 16} {
		for _, words := range []string{"", "0", "i", "W", "12.5 %", "30 Sep", "15:04", "gateway", "fixed times, every day", "The quick brown fox jumps over the lazy dog", `!"#$%&'()*+,-./:;<=>?@[\]^_{|}~`, "AV To", "°C"} {
			theirs := c.MeasureText(words, 0, charts.FontStyle{FontSize: size, FontColor: charts.ColorBlack})
			assert.InDelta(t, theirs.Width(), Width(words, Style{Size: size}), 1+0.04*float64(theirs.Width()), "%q at %g", words, size)
		}
	}
}

func TestHex(t *testing.T) {
	assert.Equal(t, Color{0xfb, 0xf7, 0x0c}, Hex("#fbf70c"))
	for _, bad := range []string{"", "#fff", "fbf70c0", "#gggggg", "#fbf70c0"} {
		assert.Equal(t, Color{}, Hex(bad), bad)
	}
}

package config

import (
	"math"
	"strings"

	"fabricpot/cmd/gateway/internal/units"
	"fabricpot/control/garden"
)

// sizeDraft is a pot's size as far as the gardener gave it, in cm and litres.
type sizeDraft struct {
	volume, diameter, top, bottom, height garden.Measured
}

// sizeText is "75 L", "20 gal" or "46 cm x 45 cm", diameter by height.
func sizeText() scalar[sizeDraft] {
	const wants = "a volume in L or gal, such as 75 L, or DIAMETER x HEIGHT, such as 46 cm x 45 cm"
	return scalar[sizeDraft]{wants: wants, format: map[string]any{"type": "string"}, parse: func(text string) (sizeDraft, error) {
		i := strings.IndexAny(text, "x×*")
		if i < 0 {
			v, err := units.Volume().Parse(text)
			if u, ok := err.(*units.Error); ok {
				return sizeDraft{}, fail(u.What, wants)
			}
			return sizeDraft{volume: garden.Known(v)}, nil
		}
		d, err := units.Length().Parse(text[:i])
		if err != nil {
			return sizeDraft{}, err
		}
		h, err := units.Length().Parse(strings.TrimLeft(text[i:], "x×*"))
		if err != nil {
			return sizeDraft{}, err
		}
		return sizeDraft{diameter: garden.Known(d), height: garden.Known(h)}, nil
	}}
}

func sizeParts() object[*sizeDraft] {
	length := quantity(units.Length(), 5, 300)
	return object[*sizeDraft]{"a size", []field[*sizeDraft]{
		{"volume", "the volume of mix", false, maybe(quantity(units.Volume(), 1, 2000), func(s *sizeDraft) *garden.Measured { return &s.volume })},
		{"height", "the depth of mix, not of fabric", false, maybe(length, func(s *sizeDraft) *garden.Measured { return &s.height })},
		{"diameter", "the inner diameter of a straight pot", false, maybe(length, func(s *sizeDraft) *garden.Measured { return &s.diameter })},
		{"top-diameter", "the inner diameter at the mix's surface", false, maybe(length, func(s *sizeDraft) *garden.Measured { return &s.top })},
		{"bottom-diameter", "the inner diameter at the floor", false, maybe(length, func(s *sizeDraft) *garden.Measured { return &s.bottom })},
	}}
}

// shape completes a size. It returns what is wrong in words where the parts do
// not make exactly one pot.
func (s sizeDraft) shape() (garden.Shape, float64, string) {
	if s.top.Known != s.bottom.Known {
		return garden.Shape{}, 0, "a tapered pot needs both top-diameter and bottom-diameter"
	}
	if s.top.Known && s.diameter.Known {
		return garden.Shape{}, 0, "diameter stands beside top-diameter and bottom-diameter"
	}
	top, bottom := s.diameter, s.diameter
	if s.top.Known {
		top, bottom = s.top, s.bottom
	}
	// cm³ of a frustum of height 1 cm, so that volume = area × height.
	area := math.Pi / 12 * (top.Value*top.Value + top.Value*bottom.Value + bottom.Value*bottom.Value)
	shape := garden.Shape{HeightCM: s.height.Value, TopDiameterCM: top.Value, BottomDiameterCM: bottom.Value}
	switch {
	case top.Known && s.height.Known:
		volume := area * s.height.Value / 1000
		if s.volume.Known && math.Abs(s.volume.Value/volume-1) > 0.15 {
			return shape, volume, "the volume does not fit the diameter and height, which hold " + units.Volume().Format(volume, "L", 1)
		}
		return shape, volume, ""
	case top.Known && s.volume.Known:
		shape.HeightCM = s.volume.Value * 1000 / area
		return shape, s.volume.Value, ""
	case s.height.Known && s.volume.Known:
		d := math.Sqrt(4 * s.volume.Value * 1000 / (math.Pi * s.height.Value))
		shape.TopDiameterCM, shape.BottomDiameterCM = d, d
		return shape, s.volume.Value, ""
	case s.volume.Known && !top.Known && !s.height.Known:
		return usualShape(s.volume.Value), s.volume.Value, ""
	}
	return shape, 0, "two of volume, height and diameter are needed, or the volume alone"
}

// usualShape is the shape of a fabric pot of which only the litres are known:
// height over diameter as usually sold (from memory: 19 L 30×27 cm, 38 L 36×37,
// 75 L 46×45, 113 L 55×48, 189 L 66×55, 400 L 90×63), interpolated over the
// logarithm of the volume and held at the ends. The volume is kept exactly.
func usualShape(litres float64) garden.Shape {
	sold := [...]struct{ litres, diameter, height float64 }{
		{19, 30, 27}, {38, 36, 37}, {75, 46, 45}, {113, 55, 48}, {189, 66, 55}, {400, 90, 63},
	}
	slender := sold[0].height / sold[0].diameter
	for i := 1; i < len(sold) && litres > sold[i-1].litres; i++ {
		a, b := sold[i-1], sold[i]
		f := min(1, math.Log(litres/a.litres)/math.Log(b.litres/a.litres))
		slender = (1-f)*a.height/a.diameter + f*b.height/b.diameter
	}
	d := math.Cbrt(4 * litres * 1000 / (math.Pi * slender))
	return garden.Shape{HeightCM: slender * d, TopDiameterCM: d, BottomDiameterCM: d}
}

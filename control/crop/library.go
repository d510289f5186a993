package crop

import (
	"slices"
	"strings"

	"fabricpot/control/garden"
)

// Crop is what the water side knows about a vegetable. It is a value.
type Crop struct {
	// Name is its English name; Aliases are others it is found by.
	Name    string
	Aliases []string
	// KcIni, KcMid and KcEnd are crop coefficients of the initial stage, the
	// mid-season and the end (FAO-56 Table 12), for RHmin ≈ 45 %, u2 ≈ 2 m/s.
	KcIni, KcMid, KcEnd float64
	// StageDays are the lengths of the initial, development, mid and late stage.
	StageDays [4]int
	// P is the depletion fraction at ETc ≈ 5 mm/d (FAO-56 Table 22).
	P float64
	// HeightM is the height of a grown plant, m.
	HeightM float64
	// CanopyM2 is a grown plant's canopy seen from above, m². Judgement.
	CanopyM2 float64
	// BaseC and UpperC bound the temperatures that count towards growth, and
	// RefC is the mean temperature at which the stage lengths hold, °C.
	// Judgement.
	BaseC, UpperC, RefC float64
	// Source says where the figures come from and how sure they are.
	Source string
	// Own marks a crop of the garden file.
	Own bool
}

// library is built anew on each call, so that nobody can change it.
func library() []Crop {
	const (
		kc    = "Kc: FAO-56 Table 12 (read in open data extracted from it). "
		memKc = "Kc: FAO-56 Table 12 (from memory). "
		days  = "Stages: FAO-56 Table 11 (from memory). "
		readD = "Stages: FAO-56 Table 11 (read in a transcription). "
		p     = "p: FAO-56 Table 22 (read in a transcription). "
		rest  = "Canopy and temperatures: judgement."
	)
	return []Crop{
		{Name: "tomato", KcIni: 0.60, KcMid: 1.15, KcEnd: 0.80, StageDays: [4]int{30, 40, 45, 30}, P: 0.40, HeightM: 1.2, CanopyM2: 0.60,
			BaseC: 10, UpperC: 30, RefC: 22,
			Source: kc + "Kc end 0.80 is the middle of 0.70-0.90. " + days + p + "Height: staked, FAO-56 note to Table 12 (from memory). " + rest},
		{Name: "aubergine", Aliases: []string{"eggplant"}, KcIni: 0.60, KcMid: 1.05, KcEnd: 0.90, StageDays: [4]int{30, 45, 40, 25}, P: 0.45, HeightM: 0.8, CanopyM2: 0.50,
			BaseC: 11, UpperC: 32, RefC: 23, Source: kc + days + p + rest},
		{Name: "sweet pepper", Aliases: []string{"bell pepper", "pepper", "capsicum"}, KcIni: 0.60, KcMid: 1.05, KcEnd: 0.90, StageDays: [4]int{30, 35, 40, 20}, P: 0.30, HeightM: 0.7, CanopyM2: 0.30,
			BaseC: 10, UpperC: 30, RefC: 22, Source: kc + days + p + rest},
		{Name: "chilli", Aliases: []string{"chili", "hot pepper", "chilli pepper"}, KcIni: 0.60, KcMid: 1.05, KcEnd: 0.90, StageDays: [4]int{30, 40, 110, 30}, P: 0.30, HeightM: 0.7, CanopyM2: 0.30,
			BaseC: 10, UpperC: 32, RefC: 23, Source: "All as FAO-56's sweet pepper, with its long-season stage lengths. " + kc + days + p + rest},
		{Name: "cucumber", KcIni: 0.60, KcMid: 1.00, KcEnd: 0.75, StageDays: [4]int{20, 30, 40, 15}, P: 0.50, HeightM: 0.3, CanopyM2: 0.45,
			BaseC: 12, UpperC: 32, RefC: 23, Source: memKc + days + p + rest},
		{Name: "bush bean", Aliases: []string{"green bean", "bean", "french bean"}, KcIni: 0.50, KcMid: 1.05, KcEnd: 0.90, StageDays: [4]int{20, 30, 30, 10}, P: 0.45, HeightM: 0.4, CanopyM2: 0.06,
			BaseC: 9, UpperC: 30, RefC: 20, Source: memKc + days + p + rest},
		{Name: "broccoli", KcIni: 0.70, KcMid: 1.05, KcEnd: 0.95, StageDays: [4]int{35, 45, 40, 15}, P: 0.45, HeightM: 0.3, CanopyM2: 0.25,
			BaseC: 4, UpperC: 24, RefC: 16, Source: kc + readD + p + rest},
		{Name: "onion", Aliases: []string{"dry onion"}, KcIni: 0.70, KcMid: 1.05, KcEnd: 0.75, StageDays: [4]int{15, 25, 70, 40}, P: 0.30, HeightM: 0.4, CanopyM2: 0.015,
			BaseC: 5, UpperC: 28, RefC: 17, Source: "Dry onion. " + kc + days + p + rest},
		{Name: "lettuce", KcIni: 0.70, KcMid: 1.00, KcEnd: 0.95, StageDays: [4]int{20, 30, 15, 10}, P: 0.30, HeightM: 0.3, CanopyM2: 0.07,
			BaseC: 4, UpperC: 24, RefC: 16, Source: kc + readD + p + rest},
		{Name: "strawberry", KcIni: 0.40, KcMid: 0.85, KcEnd: 0.75, StageDays: [4]int{30, 40, 90, 30}, P: 0.20, HeightM: 0.2, CanopyM2: 0.09,
			BaseC: 4, UpperC: 26, RefC: 17, Source: memKc + "Stages: not in FAO-56, judgement. " + p + rest},
		{Name: "potato", KcIni: 0.50, KcMid: 1.15, KcEnd: 0.75, StageDays: [4]int{25, 30, 45, 30}, P: 0.35, HeightM: 0.6, CanopyM2: 0.25,
			BaseC: 5, UpperC: 26, RefC: 17, Source: memKc + days + p + rest},
		{Name: "chard", Aliases: []string{"swiss chard", "leaf beet"}, KcIni: 0.70, KcMid: 1.00, KcEnd: 0.95, StageDays: [4]int{25, 35, 70, 10}, P: 0.20, HeightM: 0.4, CanopyM2: 0.12,
			BaseC: 4, UpperC: 26, RefC: 17, Source: "Not in FAO-56. Kc as its spinach (Table 12, read), p as its spinach (Table 22, from memory). Stages and height: judgement, leaves picked over a long time. " + rest},
		{Name: "basil", KcIni: 0.70, KcMid: 1.05, KcEnd: 0.95, StageDays: [4]int{20, 30, 60, 15}, P: 0.30, HeightM: 0.4, CanopyM2: 0.09,
			BaseC: 10, UpperC: 32, RefC: 22, Source: "Not in FAO-56. Kc as its group of small vegetables (Table 12, from memory). p, stages and height: judgement. " + rest},
	}
}

// Lookup finds a crop of the library by its name or an alias, whatever the
// case; "-" and "_" count as spaces.
func Lookup(name string) (Crop, bool) {
	want := normal(name)
	for _, c := range library() {
		if normal(c.Name) == want || slices.ContainsFunc(c.Aliases, func(a string) bool { return normal(a) == want }) {
			return c, true
		}
	}
	return Crop{}, false
}

func normal(name string) string {
	return strings.ToLower(strings.Join(strings.FieldsFunc(name, func(r rune) bool {
		return r == ' ' || r == '-' || r == '_'
	}), " "))
}

// Names lists the library in alphabetical order, without aliases.
func Names() []string {
	var out []string
	for _, c := range library() {
		out = append(out, c.Name)
	}
	slices.Sort(out)
	return out
}

// FromOwn is a crop of the garden file. It counts as growing best where most
// warm season vegetables do.
func FromOwn(o garden.OwnCrop) Crop {
	return Crop{
		Name: o.Name, KcIni: o.KcIni, KcMid: o.KcMid, KcEnd: o.KcEnd, StageDays: o.StageDays,
		P: o.P, HeightM: o.HeightM, CanopyM2: o.CanopyM2,
		BaseC: 8, UpperC: 30, RefC: 20, Source: "the garden file", Own: true,
	}
}

// Find looks among the garden's own crops first and then in the library.
func Find(own []garden.OwnCrop, name string) (Crop, bool) {
	for _, o := range own {
		if normal(o.Name) == normal(name) {
			return FromOwn(o), true
		}
	}
	return Lookup(name)
}

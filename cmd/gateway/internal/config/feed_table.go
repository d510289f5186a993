package config

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"fabricpot/cmd/gateway/internal/units"
	"fabricpot/control/feed"
	"fabricpot/control/garden"
)

// fedLeaching is the share of water meant to drain where a zone is fed and the
// file says nothing: salts must leave (common practice, no source).
const fedLeaching = 0.10

// What a product may bring along besides N, P and K.
const (
	calcium   = "calcium"
	sulfate   = "sulfate"
	phosphate = "phosphate"
)

func productTable() object[*productDraft] {
	brings := of(choice("what it brings along", calcium, sulfate, phosphate), self[string])
	return object[*productDraft]{"a product", []field[*productDraft]{
		{"name", "the product's name, for people", false, of(line("a name"), func(p *productDraft) *string { return &p.Name })},
		{"form", "how it comes", true, of(choice("a form", garden.Soluble, garden.Liquid, garden.Particulate), func(p *productDraft) *garden.ProductForm { return &p.Form })},
		{"label", "N-P2O5-K2O in percent as printed, such as 20-10-20", true, of(label(), func(p *productDraft) *garden.Analysis { return &p.Analysis })},
		{"density", "of a liquid", false, maybe(quantity(units.Density(), 0.7, 2), func(p *productDraft) *garden.Measured { return &p.DensityKGL })},
		{"conductivity-per-100-ppm", "the rise of conductivity per 100 ppm N, from the label", false, maybe(quantity(units.Conductivity(), 0.01, 5), func(p *productDraft) *garden.Measured { return &p.ECPer100PPM })},
		{"brings", "calcium, sulfate and phosphate, which settle out of one stock", false, list("calcium, sulfate, phosphate", brings, func(p *productDraft) *[]string { return &p.brings })},
		{"solubility", "the most that dissolves in a litre at 20 °C", false, maybe(quantity(units.Solubility(), 1, 3000), func(p *productDraft) *garden.Measured { return &p.SolubilityGL })},
	}}
}

// label is a guaranteed analysis, "20-10-20".
func label() scalar[garden.Analysis] {
	const wants = "N-P2O5-K2O in percent, such as 20-10-20, together at most 100"
	return scalar[garden.Analysis]{wants: wants, format: map[string]any{"type": "string", "pattern": `^[0-9.]+-[0-9.]+-[0-9.]+$`}, parse: func(text string) (garden.Analysis, error) {
		parts := strings.Split(text, "-")
		if len(parts) != 3 {
			return garden.Analysis{}, fail("not a label", wants)
		}
		var v [3]float64
		for i, part := range parts {
			n, rest, err := units.Number(part)
			if err != nil || rest != "" || n < 0 {
				return garden.Analysis{}, fail("not a label", wants)
			}
			v[i] = n
		}
		switch sum := v[0] + v[1] + v[2]; {
		case sum > 100:
			return garden.Analysis{}, fail(fmt.Sprintf("a label that sums to %g %%", sum), wants)
		case sum == 0:
			return garden.Analysis{}, fail("a label of nothing", wants)
		}
		return garden.Analysis{N: v[0], P2O5: v[1], K2O: v[2]}, nil
	}}
}

func feedTable() object[*garden.FeedPlan] {
	part := object[*garden.ProductShare]{"a part of a blend", []field[*garden.ProductShare]{
		{"product", "a product's name", true, of(id[garden.ProductID]("a product"), func(s *garden.ProductShare) *garden.ProductID { return &s.Product })},
		{"share", "the part of the nitrogen that comes from it", false, of(quantity(units.Fraction(), 0, 1), func(s *garden.ProductShare) *float64 { return &s.NShare })},
	}}
	short := of(id[garden.ProductID]("a product"), func(s *garden.ProductShare) *garden.ProductID { return &s.Product })
	return object[*garden.FeedPlan]{"a feed", []field[*garden.FeedPlan]{
		{"products", "what it is fed with; several need shares of the nitrogen", true, list("products, by name", either(short, kind[*garden.ProductShare](part)), func(f *garden.FeedPlan) *[]garden.ProductShare { return &f.Products })},
		{"strength", "nitrogen in the ready solution; absent means by crop and stage", false, maybe(quantity(units.Strength(), 1, 1000), func(f *garden.FeedPlan) *garden.Measured { return &f.NPPM })},
		{"full-strength", "yes for the whole strength of the stage, not the weak default", false, of(yesNo(), func(f *garden.FeedPlan) *bool { return &f.FullStrength })},
		{"every", "the interval; absent means by crop and stage", false, maybe(inDays(), func(f *garden.FeedPlan) *garden.Measured { return &f.IntervalDays })},
		{"dose", "ready solution at a time; absent means by container", false, maybe(quantity(units.Volume(), 0.1, 100), func(f *garden.FeedPlan) *garden.Measured { return &f.DoseL })},
		{"every-watering", "a weak feed with every watering of its line in place of feeds at intervals: its nitrogen", false, maybe(quantity(units.Strength(), feed.LeastEveryPPM, feed.MostEveryPPM), func(f *garden.FeedPlan) *garden.Measured { return &f.EveryWatering })},
		{"secondary", "yes for a lesser plant beside a main one", false, of(yesNo(), func(f *garden.FeedPlan) *bool { return &f.Secondary })},
		{"yield", "the harvest hoped for from one plant", false, maybe(quantity(units.Mass(), 0.05, 100), func(f *garden.FeedPlan) *garden.Measured { return &f.YieldKG })},
	}}
}

// inDays is a duration kept in days.
func inDays() scalar[float64] {
	const perDay = 86400
	s := quantity(units.Span(), 1*perDay, 120*perDay)
	return scalar[float64]{wants: "an interval such as 10 d, 1 d to 120 d", format: s.format, parse: func(text string) (float64, error) {
		v, err := units.Span().Parse(text)
		if err != nil {
			return 0, err
		}
		if v < perDay || v > 120*perDay {
			return 0, fail("out of range", "1 d to 120 d")
		}
		return v / perDay, nil
	}}
}

func injectorTable() object[*garden.Injector] {
	return object[*garden.Injector]{"an injector", []field[*garden.Injector]{
		{"ratio", "stock to solution, such as 1:100", false, of(ratio(), func(i *garden.Injector) *float64 { return &i.Ratio })},
		{"convention", "what 1:R means: one part in R of final solution, or one part added to R", false, of(choice("a convention", garden.PartsOfFinal, garden.PartsAdded), func(i *garden.Injector) *garden.RatioConvention { return &i.Convention })},
		{"pin", "the GPIO line that engages it, for feeding orders alone", false, of(whole("a pin number", 0, 1023), func(i *garden.Injector) *int { return &i.Pin })},
		{"chip", "the label of its GPIO chip, if not the hardware's", false, of(line("a chip's label"), func(i *garden.Injector) *string { return &i.Chip })},
		{"active-low", "yes where a low level engages it", false, of(yesNo(), func(i *garden.Injector) *bool { return &i.ActiveLow })},
		{"max-run", "the longest it may run at a time, if less than the line", false, of(span(time.Minute, 6*time.Hour), func(i *garden.Injector) *time.Duration { return &i.MaxRun })},
		{"flow-within", "with a flow meter: how soon it must count while the injector runs, or that stops", false, of(span(5*time.Second, 10*time.Minute), func(i *garden.Injector) *time.Duration { return &i.FlowWithin })},
		{"premixed", "yes where the line draws ready solution from a tank instead", false, of(yesNo(), func(i *garden.Injector) *bool { return &i.Premixed })},
	}}
}

// ratio is the R of 1:R.
func ratio() scalar[float64] {
	const wants = "1:R with R from 1 to 1000, such as 1:100"
	return scalar[float64]{wants: wants, format: map[string]any{"type": "string", "pattern": `^1\s*:\s*[0-9.]+$`}, parse: func(text string) (float64, error) {
		one, r, ok := strings.Cut(text, ":")
		v, err := strconv.ParseFloat(strings.TrimSpace(r), 64)
		if !ok || strings.TrimSpace(one) != "1" || err != nil {
			return 0, fail("not a ratio", wants)
		}
		if !garden.Finite(v) || v < 1 || v > 1000 {
			return 0, fail("out of range", wants)
		}
		return v, nil
	}}
}

func linkProduct(p entry[productDraft]) garden.Product {
	out := p.value.Product
	out.ID = garden.ProductID(p.id)
	if out.Name == "" {
		out.Name = p.id
	}
	for _, b := range p.value.brings {
		out.Calcium = out.Calcium || b == calcium
		out.Sulfate = out.Sulfate || b == sulfate
		out.Phosphate = out.Phosphate || b == phosphate
	}
	return out
}

func (r *reader) checkProducts(g *garden.Garden) {
	for _, p := range g.Products {
		path := "products." + string(p.ID)
		if r.sound(path+".form") && p.Form == garden.Liquid && !r.src.given(path+".density") {
			r.say(path, `no "density"`, "", "it for a liquid, from the label: its litres must become grams")
		}
	}
	for i := range g.Lines {
		l := &g.Lines[i]
		path := "lines." + string(l.ID) + ".injector"
		l.Injector.Switched = r.src.given(path + ".pin")
		if l.Injector.Switched && l.Injector.Chip == "" {
			l.Injector.Chip = g.Hardware.GPIOChip
		}
		switch {
		case !r.sound(path):
		case l.Injector.Premixed && r.src.given(path+".ratio") && l.Injector.Ratio != 1:
			r.say(path+".ratio", "a ratio for a solution that is ready", fmt.Sprintf("1:%g", l.Injector.Ratio), "1:1, or no ratio")
		case !l.Injector.Present():
			r.say(path, "neither a ratio nor premixed", "", "ratio: 1:100 or premixed: yes")
		}
	}
}

func (r *reader) checkFeed(g *garden.Garden, z *garden.Zone, path, potPath string) {
	at := r.own(path, potPath, "feed")
	if !z.Feed.Fed() || !r.sound(at) {
		return
	}
	if len(z.Plants) == 0 && !r.unsound[path+".plants"] {
		r.say(at, "a feed and no plants", "", "plants in that zone")
	}
	if z.Feed.EveryWatering.Known {
		for _, key := range []string{"strength", "full-strength", "every", "dose"} {
			if r.src.given(at + "." + key) {
				r.say(at+"."+key, "a word about feeds at intervals beside every-watering", "", "one or the other: with every watering the strength is every-watering's and the amount the watering's")
			}
		}
	}
	sum, shares := 0.0, 0
	for i, s := range z.Feed.Products {
		item := fmt.Sprintf("%s.products.%d", at, i+1)
		if _, ok := g.Product(s.Product); !ok {
			var known []string
			for _, p := range g.Products {
				known = append(known, string(p.ID))
			}
			r.unknownName(item, "product", string(s.Product), known)
		}
		if r.src.given(item + ".share") {
			shares++
		}
		sum += s.NShare
	}
	switch n := len(z.Feed.Products); {
	case n == 1 && shares == 0:
		z.Feed.Products[0].NShare = 1
	case n > 1 && shares < n:
		r.say(at+".products", "a blend without shares", fmt.Sprintf("%d products, %d shares", n, shares), "{ product: NAME, share: 60 % } for each")
	case sum < 0.995 || sum > 1.005:
		r.say(at+".products", "the shares of the blend do not make a whole", percent(sum), "100 %")
	}
}

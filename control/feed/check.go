package feed

import (
	"fmt"
	"math"

	"fabricpot/control/garden"
)

// Check judges everything in the garden that concerns feeding: products, plans
// and injectors. Paths are those of the garden file.
func Check(g *garden.Garden) []garden.Problem {
	var out []garden.Problem
	add := func(fatal bool, path, format string, a ...any) {
		out = append(out, garden.Problem{Path: path, What: fmt.Sprintf(format, a...), Fatal: fatal})
	}
	seen := map[garden.ProductID]bool{}
	for i := range g.Products {
		checkProduct(&g.Products[i], seen, add)
	}
	for i := range g.Lines {
		l := &g.Lines[i]
		if l.Injector.Ratio != 0 && !l.Injector.Premixed {
			if _, err := FinalParts(l.Injector.Ratio, l.Injector.Convention); err != nil {
				add(true, "lines."+string(l.ID)+".injector", "%v", err)
			}
		}
	}
	g.EachZone(func(p *garden.Pot, z *garden.Zone) {
		if z.Feed.Fed() {
			checkPlan(g, p, z, add)
		}
	})
	return out
}

func checkProduct(p *garden.Product, seen map[garden.ProductID]bool, add func(bool, string, string, ...any)) {
	path := "products." + string(p.ID)
	if !garden.ValidID(string(p.ID)) {
		add(true, path, "product name %q, expected small letters, digits and hyphens", p.ID)
	}
	if seen[p.ID] {
		add(true, path, "product %q is there twice", p.ID)
	}
	seen[p.ID] = true
	if err := CheckAnalysis(p.Analysis); err != nil {
		add(true, path+".label", "%v", err)
	}
	switch p.Form {
	case garden.Soluble, garden.Liquid, garden.Particulate:
	default:
		add(true, path+".form", "form %q, expected %q, %q or %q", p.Form, garden.Soluble, garden.Liquid, garden.Particulate)
	}
	if p.DensityKGL.Known {
		if _, err := Millilitres(1, p.DensityKGL.Value); err != nil {
			add(true, path+".density", "%v", err)
		}
	} else if p.Form == garden.Liquid || p.Form == garden.Particulate {
		add(false, path+".density", "no density: amounts are told by weight only; weigh a litre, or see the label")
	}
	if p.ECPer100PPM.Known {
		if _, err := EC(0, p.ECPer100PPM.Value, 0); err != nil {
			add(true, path+".ec-per-100ppm", "%v", err)
		}
	}
	if p.SolubilityGL.Known && p.SolubilityGL.Value <= 0 {
		add(true, path+".solubility", "solubility %v g/L, expected more than 0", p.SolubilityGL.Value)
	}
}

func checkPlan(g *garden.Garden, p *garden.Pot, z *garden.Zone, add func(bool, string, string, ...any)) {
	path := "pots." + string(p.ID) + ".zones." + string(z.ID) + ".feed"
	if PlantCount(z) == 0 {
		add(true, path, "a feed for a zone with no plants: enter the plants or take the feed out")
		return
	}
	f := z.Feed
	if f.IntervalDays.Known && (f.IntervalDays.Value < MinIntervalDays || f.IntervalDays.Value > MaxIntervalDays) {
		add(true, path+".interval", "every %v days, expected %g to %d", f.IntervalDays.Value, MinIntervalDays, MaxIntervalDays)
	}
	if f.YieldKG.Known && (f.YieldKG.Value <= 0 || f.YieldKG.Value > 50) {
		add(true, path+".yield", "%v kg from a plant, expected more than 0 up to 50", f.YieldKG.Value)
	}
	h := ZoneHunger(z)
	for s := Initial; s <= Late; s++ {
		por, err := PortionFor(f, z.VolumeL(p), h, s)
		if err != nil {
			add(true, path, "%v", err)
			return
		}
		line, onLine := g.Line(z.Line)
		var inj garden.Injector
		if onLine {
			inj = line.Injector
		}
		r, err := NewRecipe(g, f.Products, por.NPPM, por.Litres, inj)
		if err == nil {
			err = CheckRecipe(r)
		}
		if err != nil {
			add(true, path, "%v", err)
			return
		}
		if s != Middle {
			continue
		}
		for _, w := range r.Warnings {
			add(false, path, "%s", w)
		}
		if onLine && inj.Present() {
			checkFedLine(g, line, z, path, add)
		}
	}
}

func checkFedLine(g *garden.Garden, l *garden.Line, z *garden.Zone, path string, add func(bool, string, string, ...any)) {
	for _, s := range z.Feed.Products {
		if pr, ok := g.Product(s.Product); ok && pr.Form == garden.Particulate {
			add(true, path, "%s has solids in it and line %q would carry it through emitters: give it by hand", nameOf(*pr), l.ID)
		}
	}
	var others int
	for _, o := range l.Outlets {
		if o.Zone != z.ID {
			others++
		}
	}
	if others > 0 {
		add(false, path, "line %q feeds %d more zones together with this one", l.ID, others)
	}
}

// ZoneHunger is the hunger of a zone's plants together: uptake per tonne and
// harvest per plant weighted by their number, habit that of the hungriest.
func ZoneHunger(z *garden.Zone) Hunger {
	var out Hunger
	var count, mass float64
	var uptake NPK
	for _, p := range z.Plants {
		h, _ := HungerOf(p.Crop)
		n := math.Max(0, float64(p.Count))
		yield := z.Feed.YieldKG.Or(h.YieldKG)
		count += n
		mass += n * yield
		uptake = uptake.Add(h.PerTonne.Times(n * yield))
		if out.Crop == "" || h.Habit == Fruiting || (h.Habit == Leafy && out.Habit == Plain) {
			out.Crop, out.Habit, out.Source = h.Crop, h.Habit, h.Source
		}
	}
	if count == 0 || mass == 0 {
		return out
	}
	out.YieldKG = mass / count
	out.PerTonne = uptake.Times(1 / mass)
	return out
}

// Resolve makes a zone's plan from the garden and from what the water side
// knows of it. A zone whose line has no injector is fed by the gardener.
func Resolve(g *garden.Garden, p *garden.Pot, z *garden.Zone, capacity, refill, lowerLimit, pulseL float64) (*Plan, error) {
	if !z.Feed.Fed() {
		return nil, fmt.Errorf("feed: zone %q has no feed plan", z.ID)
	}
	for _, s := range z.Feed.Products {
		if _, ok := g.Product(s.Product); !ok {
			return nil, fmt.Errorf("feed: zone %q: product %q is not in the garden file: add it under products with its label", z.ID, s.Product)
		}
	}
	capL, err := CapL(z.Feed, z.VolumeL(p))
	if err != nil {
		return nil, err
	}
	out := &Plan{
		Zone: z.ID, VolumeL: z.VolumeL(p), Capacity: capacity, Refill: refill, LowerLimit: lowerLimit,
		PulseL: pulseL, CapL: capL, Plants: PlantCount(z), Timing: UsualTiming(),
	}
	if l, ok := g.Line(z.Line); ok {
		out.Flush = Through{l.ID, l.ShareOf(z.ID), l.FlowLPH()}
		if l.Injector.Present() {
			out.Line, out.LineShare, out.FlowLPH = l.ID, l.ShareOf(z.ID), l.FlowLPH()
		}
	}
	if z.Feed.EveryWatering.Known {
		out.EveryWatering = true
		if out.CapNG, err = WeakCapNG(out.VolumeL); err != nil {
			return nil, err
		}
	}
	return out, out.Check()
}

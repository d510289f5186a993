package garden

import "time"

// ProductID names a fertiliser product of the garden file.
type ProductID string

// FeedID numbers the feeds of one zone from 1. It is seeded from the journal at
// start, so that a feed keeps its number across restarts and no two feeds of a
// zone share one.
type FeedID uint64

// ProductForm is how a product comes, which decides what may carry it.
type ProductForm string

const (
	// Soluble is a powder or crystals that dissolve wholly.
	Soluble ProductForm = "soluble"
	// Liquid is a clear liquid concentrate.
	Liquid ProductForm = "liquid"
	// Particulate is an organic liquid with solids in it (fish, seaweed,
	// compost tea). It never goes through emitters.
	Particulate ProductForm = "particulate"
)

// Analysis is a product's guaranteed analysis as labels print it, percent by
// mass: N, P₂O₅ and K₂O. Phosphorus and potassium are oxides here, never
// elements.
type Analysis struct {
	N, P2O5, K2O float64
}

// Product is a fertiliser as its label describes it.
type Product struct {
	ID       ProductID
	Name     string
	Form     ProductForm
	Analysis Analysis
	// DensityKGL is the density of a liquid, kg/L; absent for solids.
	DensityKGL Measured
	// ECPer100PPM is the rise of conductivity per 100 mg N per litre, mS/cm,
	// from the label; absent where the label has none.
	ECPer100PPM Measured
	// Calcium, Sulfate and Phosphate tell what the product brings along:
	// calcium and one of the others settle out of one stock.
	Calcium, Sulfate, Phosphate bool
	// SolubilityGL is the most that dissolves in a litre at 20 °C, g/L.
	SolubilityGL Measured
}

// ProductShare is one product's part in a blend.
type ProductShare struct {
	Product ProductID
	// NShare is the part of the solution's nitrogen that comes from this
	// product, 0..1; the shares of a blend sum to 1.
	NShare float64
}

// FeedPlan is how one zone is fed. The zero plan is "not fed by us".
type FeedPlan struct {
	// Products is the blend; empty means the zone is not fed.
	Products []ProductShare
	// NPPM is the strength asked for, mg N per litre of ready solution; absent
	// means by crop and stage.
	NPPM Measured
	// FullStrength takes the whole strength of the crop's stage instead of the
	// weak default, which is half of it.
	FullStrength bool
	// IntervalDays replaces the interval of crop and stage; absent means theirs.
	IntervalDays Measured
	// DoseL replaces the litres of ready solution by container; absent means
	// the container's.
	DoseL Measured
	// EveryWatering is the strength of a weak feed that goes with every watering
	// instead of one at intervals, mg N per litre; absent means at intervals.
	EveryWatering Measured
	// Secondary marks the zone of a lesser plant beside a main one.
	Secondary bool
	// YieldKG is the harvest hoped for from one plant in a season, kg; absent
	// means the crop's usual one.
	YieldKG Measured
}

// Fed reports whether the plan feeds at all.
func (p FeedPlan) Fed() bool { return len(p.Products) > 0 }

// RatioConvention says what an injector's 1:R means.
type RatioConvention string

const (
	// PartsOfFinal: one part of stock in R parts of final solution. It is the
	// zero convention's meaning too.
	PartsOfFinal RatioConvention = "of-final"
	// PartsAdded: one part of stock added to R parts of water, so the final
	// solution has R+1 parts.
	PartsAdded RatioConvention = "added"
)

// Injector puts stock solution into a line while a feeding order runs and is
// bypassed while any other order runs. The zero Injector means there is none.
type Injector struct {
	// Ratio is the R of 1:R, at least 1; 0 means no injector.
	Ratio float64
	// Convention is what 1:R means; empty means PartsOfFinal.
	Convention RatioConvention
	// Premixed is set where the line can draw ready solution from a tank
	// instead; Ratio is then 1.
	Premixed bool
	// Switched is set where the gateway can engage it: by the output Pin on the
	// GPIO chip of that label (empty: the hardware's), which energises a dosing
	// pump, or the valve that lets water through the injector. Without it the
	// gateway can't tell feed from water on the line and feeds nothing through
	// it.
	Switched  bool
	Chip      string
	Pin       int
	ActiveLow bool
	// MaxRun is the longest it may run at a time; 0 means as long as the line.
	MaxRun time.Duration
	// FlowWithin is how soon, and then how often, a flow meter must count while
	// the injector runs; 0 means DefaultFlowWithin. It counts only where the
	// supply has a meter and the solution is not premixed.
	FlowWithin time.Duration
}

// DefaultFlowWithin suits a meter of some hundred pulses a litre.
const DefaultFlowWithin = 30 * time.Second

// Present reports whether feed can reach the line at all.
func (i Injector) Present() bool { return i.Premixed || i.Ratio > 0 }

// Product returns the product with that id.
func (g *Garden) Product(id ProductID) (*Product, bool) {
	for i := range g.Products {
		if g.Products[i].ID == id {
			return &g.Products[i], true
		}
	}
	return nil, false
}

package hydraulics

import (
	"fmt"
	"math"
)

// Bounds of an emitter's question.
const (
	maxHeadM   = 200 // m, 20 bar bursts any garden hose
	maxFlowLPH = 1e5
)

// Emitter is q = k·hˣ, flow in L/h from head in m. The exponent x is near 0 for
// a pressure compensating emitter, 0.4 for a vortex, 0.5 for a turbulent, 0.7
// for a long path and up to 1 for a laminar one. The zero Emitter gives nothing.
type Emitter struct {
	// K is the flow at 1 m of head, L/h; X the exponent, 0..1.
	K, X float64
}

// NewEmitter is the emitter that gives flowLPH at headM with exponent x. It
// refuses flows and heads that are not positive, and x outside 0..1.
func NewEmitter(flowLPH, headM, x float64) (Emitter, error) {
	if err := firstError(
		positive("emitter flow", flowLPH, maxFlowLPH, " L/h"),
		positive("head", headM, maxHeadM, " m"),
		within("emitter exponent", x, 0, 1, ""),
	); err != nil {
		return Emitter{}, err
	}
	return Emitter{K: flowLPH / math.Pow(headM, x), X: x}, nil
}

// FitEmitter is the emitter through two measured pairs of head and flow:
// x = ln(q1/q2)/ln(h1/h2). It refuses heads within 5 % of each other, whose
// quotient would be noise, and an exponent outside -0.1..1.1; inside, what lies
// beyond 0..1 is measurement error and is held at the end.
func FitEmitter(flow1LPH, head1M, flow2LPH, head2M float64) (Emitter, error) {
	if err := firstError(
		positive("emitter flow", flow1LPH, maxFlowLPH, " L/h"),
		positive("emitter flow", flow2LPH, maxFlowLPH, " L/h"),
		positive("head", head1M, maxHeadM, " m"),
		positive("head", head2M, maxHeadM, " m"),
	); err != nil {
		return Emitter{}, err
	}
	lh := math.Log(head1M / head2M)
	if math.Abs(lh) < math.Log(1.05) {
		return Emitter{}, fmt.Errorf("hydraulics: heads %v and %v m are too close to tell an exponent; measure at pressures a fifth apart or more", head1M, head2M)
	}
	x := math.Log(flow1LPH/flow2LPH) / lh
	if x < -0.1 || x > 1.1 {
		return Emitter{}, fmt.Errorf("hydraulics: the two measurements give an exponent of %.2f, expected 0 to 1; measure again", x)
	}
	return NewEmitter(flow1LPH, head1M, min(max(x, 0), 1))
}

// LPH is the flow at a head in m, L/h; 0 without head.
func (e Emitter) LPH(headM float64) float64 {
	if !(headM > 0) {
		return 0
	}
	return e.K * math.Pow(headM, e.X)
}

// FlowShare is what an emitter of exponent x gives when its head falls to
// headShare of what it was, as a share of its flow: headShareˣ.
func FlowShare(headShare, x float64) float64 {
	if !(headShare > 0) {
		return 0
	}
	return math.Pow(headShare, x)
}

func firstError(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

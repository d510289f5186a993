package page

import (
	"strings"

	"fabricpot/cmd/gateway/internal/runner"
)

// busView is a bus with the converters on it.
type busView struct {
	Name  string
	State string
	// Dead tells that nothing on it answers.
	Dead       bool
	Next       string
	Converters []converterView
}

// converterView is one converter in words.
type converterView struct {
	Name, Probes, State, Failed, Took, Error, Next string
	Silent                                         bool
}

// failedShare is the share of failed conversions from which wiring is to be
// looked at. Judgement, no source.
const failedShare = 0.01

// busViews puts the converters in words, bus by bus; they come sorted by bus.
func (p *Page) busViews(st *runner.Status) []busView {
	var out []busView
	for i := range st.Converters {
		c := &st.Converters[i]
		if len(out) == 0 || out[len(out)-1].Name != c.Bus {
			out = append(out, busView{Name: c.Bus, Dead: true})
		}
		b := &out[len(out)-1]
		b.Converters = append(b.Converters, p.converterView(c, st))
		b.Dead = b.Dead && !c.Answers && c.Since != nil
	}
	for i := range out {
		b := &out[i]
		answer := 0
		for _, c := range b.Converters {
			if !c.Silent {
				answer++
			}
		}
		b.State = sprintf(tBusSome, answer, len(b.Converters))
		if b.Dead {
			b.Next = tBusNext
		}
	}
	return out
}

func (p *Page) converterView(c *runner.ConverterStatus, st *runner.Status) converterView {
	cv := converterView{Name: sprintf("%#x", c.Address), Error: c.Error, Silent: !c.Answers, Took: "–"}
	var probes []string
	for _, id := range c.Probes {
		probes = append(probes, string(id))
	}
	cv.Probes = strings.Join(probes, ", ")
	switch {
	case c.Since == nil:
		cv.State = tConvUnasked
	case c.Answers:
		cv.State = sprintf(tConvAnswers, clock(*c.Since, st.At))
	default:
		cv.State, cv.Next = sprintf(tConvSilent, clock(*c.Since, st.At)), tConvNext
	}
	share := 0.0
	if c.Conversions > 0 {
		share = float64(c.Failed) / float64(c.Conversions)
	}
	cv.Failed = sprintf(tConvFailed, percentOf(share), c.Failed, c.Conversions)
	if c.Answers && share >= failedShare {
		cv.Next = tConvFlaky
	}
	if c.ReadS != nil {
		cv.Took = millis(*c.ReadS)
	}
	return cv
}

// percentOf writes a share with as many digits as tell it from nothing.
func percentOf(share float64) string {
	digits := 0
	switch {
	case share == 0:
	case share < 0.001:
		digits = 3
	case share < 0.1:
		digits = 1
	}
	return sprintf("%.*f"+apart+"%%", digits, 100*share)
}

// millis writes how long a conversion took.
func millis(s float64) string {
	return sprintf("%.*f"+apart+"ms", digitsFor(s*1000), s*1000)
}

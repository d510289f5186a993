package hub

import (
	"context"
	"testing"

	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/feeding"
	"fabricpot/control/garden"
	"fabricpot/mqtt/command"

	"github.com/stretchr/testify/assert"
)

// fedGateway knows how its pots are fed and keeps what it is asked.
type fedGateway struct {
	Gateway
	zones []feeding.ZoneView
	asked []garden.Ask
}

func (g *fedGateway) Rounds(context.Context) (r runner.Rounds, _ error) {
	r.Zones = g.zones
	return r, nil
}

func (g *fedGateway) Ask(_ context.Context, a garden.Ask) error {
	g.asked = append(g.asked, a)
	return nil
}

// TestFeedNow: a wish that can't be met is refused with its reason, never taken
// and forgotten.
func TestFeedNow(t *testing.T) {
	g := &fedGateway{zones: []feeding.ZoneView{{Zone: "chilli", Fed: true}, {Zone: "bean"}, {Zone: "chard", Fed: true, Weak: true}}}
	wish := func(z garden.ZoneID) error {
		return new(Tie).feed(t.Context(), g, command.Wish{Ask: garden.Ask{Kind: garden.AskFeed, Zone: z}})
	}
	assert.NoError(t, wish("chilli"))
	assert.ErrorContains(t, wish("bean"), "no feed plan")
	assert.ErrorContains(t, wish("chard"), "fed with every watering")
	assert.Len(t, g.asked, 1)
}

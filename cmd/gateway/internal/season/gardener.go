package season

import (
	"time"

	"fabricpot/control/garden"
)

// gardener is the person of the simulation: every second evening at seven they
// give each zone that has no line a can of water, and note it.
type gardener struct {
	zones []byHand
	next  time.Time
}

type byHand struct {
	number int
	id     garden.ZoneID
	litres float64
}

const (
	gardenerHour = 19
	// canShare is the can as a share of the zone's mix. A person pours what
	// the can holds, not what a balance says.
	canShare = 0.10
)

func newGardener(g *garden.Garden) gardener {
	var gd gardener
	n := -1
	g.EachZone(func(p *garden.Pot, z *garden.Zone) {
		n++
		if z.Line == "" {
			gd.zones = append(gd.zones, byHand{number: n, id: z.ID, litres: canShare * z.VolumeL(p)})
		}
	})
	return gd
}

// visit waters if the evening has come.
func (gd *gardener) visit(b *Bench) {
	if len(gd.zones) == 0 {
		return
	}
	now := b.Moment()
	if gd.next.IsZero() {
		y, m, d := now.Wall.Date()
		gd.next = time.Date(y, m, d, gardenerHour, 0, 0, 0, now.Wall.Location())
	}
	if now.Wall.Before(gd.next) {
		return
	}
	for gd.next = gd.next.AddDate(0, 0, 2); !gd.next.After(now.Wall); gd.next = gd.next.AddDate(0, 0, 2) {
	}
	for _, z := range gd.zones {
		b.Terrace.PourByHand(z.number, z.litres)
		b.Loop.Ask(now, garden.Ask{Kind: garden.GardenerWatered, Zone: z.id, Litres: z.litres, Who: "gardener"})
	}
}

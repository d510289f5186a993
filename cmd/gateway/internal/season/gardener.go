package season

import (
	"time"

	"fabricpot/control/garden"
	"fabricpot/control/task"
)

// gardener is the person of the simulation: every second evening at seven they
// give each zone that has no line a can of water, and note it. Every evening
// they give the feeds that are on the list, and tick them.
type gardener struct {
	zones []byHand
	index map[garden.ZoneID]int
	next  time.Time
	feeds time.Time
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
	gd := gardener{index: map[garden.ZoneID]int{}}
	n := -1
	g.EachZone(func(p *garden.Pot, z *garden.Zone) {
		n++
		gd.index[z.ID] = n
		if z.Line == "" {
			gd.zones = append(gd.zones, byHand{number: n, id: z.ID, litres: canShare * z.VolumeL(p)})
		}
	})
	return gd
}

// visit waters if the evening has come.
func (gd *gardener) visit(b *Bench) {
	now := b.Moment()
	gd.feed(b, now)
	if len(gd.zones) == 0 {
		return
	}
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

// feed gives the feeds of the list if the evening has come.
func (gd *gardener) feed(b *Bench, now garden.Moment) {
	if now.Wall.Before(gd.feeds) {
		return
	}
	y, m, d := now.Wall.Date()
	evening := time.Date(y, m, d, gardenerHour, 0, 0, 0, now.Wall.Location())
	if now.Wall.Before(evening) {
		gd.feeds = evening
		return
	}
	gd.feeds = evening.AddDate(0, 0, 1)
	book := b.Loop.Feeds()
	if book == nil {
		return
	}
	for _, t := range book.List(now.Wall).Tasks {
		v, ok := book.Zone(t.Zone)
		if t.Kind != task.Feed || !ok {
			continue
		}
		if err := b.Loop.TaskDone(now, t.ID, task.Report{}, "gardener"); err == nil {
			b.Terrace.PourFeedByHand(gd.index[t.Zone], t.Litres, v.NextNPPM)
		}
	}
}

package season

import (
	"time"

	"fabricpot/control/garden"
	"fabricpot/control/task"
)

// gardener is the person of the simulation. Every evening at seven they take the
// feeds, cans of water and flushes off the list, pour in portions, stop where it
// runs out below, and tick each with what they gave. A pot without a line of
// which the list says nothing for days gets a can all the same.
type gardener struct {
	// standIn: where a line brings its pot no water, they do.
	standIn bool
	zones   []byHand
	index   map[garden.ZoneID]int
	next    time.Time
	jobs    []pouring
}

type byHand struct {
	number int
	id     garden.ZoneID
	litres float64 // of a can
	last   time.Time
}

// pouring is one job of the evening.
type pouring struct {
	zone             garden.ZoneID
	number           int
	task             string // empty for a can that nobody asked for
	mgL              float64
	left, portion    float64
	given, drainedAt float64
	// leach is set where it is meant to run out below, sips where they stand in for
	// a line: the list has the rest given in sips where the first go runs past a
	// dry mix.
	leach, sips bool
	next        time.Time
}

const (
	gardenerHour = 19
	// canShare is a can as a share of the zone's mix.
	canShare = 0.10
	// habit is after how long without water a pot gets a can unasked.
	habit = 3 * 24 * time.Hour
	// portions are given portionWait apart, each goShare of the zone's mix.
	goShare     = 0.03
	portionWait = 20 * time.Minute
	sipsAnHour  = 4
	// shown is how many litres below a person sees.
	shown = 0.02
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

// visit begins the evening's work when it has come, and goes on with it.
func (gd *gardener) visit(b *Bench) {
	now := b.Moment()
	if len(gd.jobs) > 0 {
		gd.pour(b, now)
	}
	if now.Wall.Before(gd.next) {
		return
	}
	y, m, d := now.Wall.Date()
	evening := time.Date(y, m, d, gardenerHour, 0, 0, 0, now.Wall.Location())
	if now.Wall.Before(evening) {
		gd.next = evening
		return
	}
	gd.next = evening.AddDate(0, 0, 1)
	gd.plan(b, now)
}

// plan makes the evening's jobs: one a pot, food before water.
func (gd *gardener) plan(b *Bench, now garden.Moment) {
	volume := func(id garden.ZoneID) float64 {
		p, z, _ := b.Garden.Zone(id)
		return z.VolumeL(p)
	}
	busy := map[garden.ZoneID]bool{}
	for _, j := range gd.jobs {
		busy[j.zone] = true
	}
	if book := b.Loop.Feeds(); book != nil {
		list := book.List(now.Wall).Tasks
		for _, kind := range []task.Kind{task.Feed, task.Flush, task.Water} {
			for _, t := range list {
				v, ok := book.Zone(t.Zone)
				if t.Kind != kind || !ok || busy[t.Zone] || t.Due.After(now.Wall.Add(5*time.Hour)) {
					continue
				}
				_, z, _ := b.Garden.Zone(t.Zone)
				forLine := kind == task.Water && z.Line != ""
				if forLine && !gd.standIn {
					continue
				}
				busy[t.Zone] = true
				j := pouring{zone: t.Zone, number: gd.index[t.Zone], task: t.ID, left: t.Litres, leach: kind == task.Flush, sips: forLine,
					portion: goShare * volume(t.Zone), drainedAt: b.Terrace.Totals(gd.index[t.Zone]).DrainedL, next: now.Wall}
				if kind == task.Feed {
					j.mgL = v.NextNPPM
				}
				gd.jobs = append(gd.jobs, j)
			}
		}
	}
	for i := range gd.zones {
		z := &gd.zones[i]
		if z.last.IsZero() || busy[z.id] {
			z.last = now.Wall
		}
		if busy[z.id] || now.Wall.Sub(z.last) < habit {
			continue
		}
		z.last = now.Wall
		gd.jobs = append(gd.jobs, pouring{zone: z.id, number: z.number, left: z.litres, portion: goShare * volume(z.id),
			drainedAt: b.Terrace.Totals(z.number).DrainedL, next: now.Wall})
	}
}

// pour gives each job's next portion, and reports what is finished.
func (gd *gardener) pour(b *Bench, now garden.Moment) {
	going := gd.jobs[:0]
	for _, j := range gd.jobs {
		if now.Wall.Before(j.next) {
			going = append(going, j)
			continue
		}
		runs := b.Terrace.Totals(j.number).DrainedL-j.drainedAt > shown
		if runs && j.sips && j.given <= j.portion {
			j.leach, j.portion = true, j.left/sipsAnHour
		}
		if j.left > 1e-6 && (j.leach || !runs) {
			litres := min(j.left, j.portion)
			b.Terrace.PourFeedByHand(j.number, litres, j.mgL)
			j.left -= litres
			j.given += litres
			j.next = now.Wall.Add(portionWait)
			if j.sips && j.leach {
				j.next = now.Wall.Add(time.Hour / sipsAnHour)
			}
			going = append(going, j)
			continue
		}
		gd.report(b, now, j)
	}
	gd.jobs = going
}

func (gd *gardener) report(b *Bench, now garden.Moment, j pouring) {
	if j.task != "" {
		// A task that was taken back meanwhile was still poured.
		if b.Loop.TaskDone(now, j.task, task.Report{Litres: garden.Known(j.given)}, "gardener") == nil {
			return
		}
	}
	if j.given > 0 {
		b.Loop.Ask(now, garden.Ask{Kind: garden.GardenerWatered, Zone: j.zone, Litres: j.given, Who: "gardener"})
	}
}

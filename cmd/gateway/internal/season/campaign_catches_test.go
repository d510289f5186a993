package season

import (
	"slices"
	"strings"
	"testing"
	"time"

	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/alarm"
	"fabricpot/control/feed"
	"fabricpot/control/garden"
	"fabricpot/sim/bench"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"
)

// TestCampaignCatches breaks the guard of each invariant on purpose and sees that
// the campaign notices, and that it does not where nothing is broken.
func TestCampaignCatches(t *testing.T) {
	ending, present := false, (*Bench)(nil)
	oneStuck, oneFailed := stuckScript(t, 3, 12)
	twoStuck, twoFailed := stuckScript(t, 4, 24)
	forgetsL0 := tricks{wrap: func(o *Options) { o.Journal = forgetsOutcomes{o.Journal.(*memBook), "l0"} }}
	cases := []struct {
		name, says string // of what is said, parts with commas between
		script     Script
		tr         tricks
	}{
		{"deadline", "past its deadline", thirstyScript(), tricks{coil: trickCoil(func(p *bench.Pin, l gpio.Level) error {
			if p.Energised() && l == gpio.Low {
				return nil // says that it closed, and does not
			}
			return p.Out(l)
		})}},
		{"supply", "opened on a supply", thirstyScript(), tricks{garden: func(g *garden.Garden) *garden.Garden {
			c := *g
			c.Supply.FlowLPH *= 10
			return &c
		}}},
		{"cap", "over its cap", NewScript(3, Single, 5, "somebody asks for far too much"), tricks{garden: func(g *garden.Garden) *garden.Garden {
			c := *g
			c.Limits.DailyFactor *= 10
			return &c
		}}},
		{"a broken journal", "in the day after its account was lost, over its cap", NewScript(3, Single, 5, journalBroken), tricks{wrap: func(o *Options) {
			o.History = looksWhole{o.History.(*memBook)}
		}}},
		{"a broken journal is told of", "journal broken at a start: no alarm of its kind", NewScript(3, Single, 5, journalBroken), tricks{wrap: func(o *Options) {
			o.Tell = keepsQuiet{o.Tell, alarm.JournalBroken}
		}}},
		{"bad reading", "rests on no good reading", NewScript(3, Single, 5, "probe open"), tricks{wrap: func(o *Options) {
			honest := o.sampler
			o.sampler = func(s runner.Sampler) runner.Sampler { return believer{honest(s)} }
		}}},
		{"closed at stop", "left open at a stop", thirstyScript(), tricks{begun: func(b *Bench) {
			b.Clock.At(36*time.Hour, func() { ending = true })
		}, coil: trickCoil(func(p *bench.Pin, l gpio.Level) error {
			if ending && l == gpio.Low {
				return nil
			}
			return p.Out(l)
		})}},
		{"water balance", "the journal knows of", thirstyScript(), tricks{begun: func(b *Bench) {
			b.Terrace.LeakValve(b.Garden.Lines[0].ID, 3)
		}}},
		{"water balance, a few percent", "the journal knows of", thirstyScript(), tricks{begun: func(b *Bench) {
			b.Terrace.LeakValve(b.Garden.Lines[0].ID, 0.05)
		}}},
		{"alarm in time", "no alarm of its kind", NewScript(3, Single, 5, "probe open"), tricks{wrap: func(o *Options) { o.Tell = nil }}},
		{"a meter that does not answer is told of", "meter does not answer: no alarm of its kind", NewScript(3, Single, 3, "meter does not answer"), tricks{wrap: func(o *Options) {
			o.Tell = keepsQuiet{o.Tell, alarm.GaugeDoubtful}
		}}},
		{"plants live", "lost", thirstyScript(), tricks{coil: trickCoil(func(p *bench.Pin, l gpio.Level) error {
			if l == gpio.High {
				return nil
			}
			return p.Out(l)
		})}},
		{"intent before the coil", "without an intent", thirstyScript(), tricks{wrap: func(o *Options) {
			o.Journal = forgetful{o.Journal}
		}}},
		{"closed first at a start", "not closed first", restarted(), tricks{coil: trickCoil(func(p *bench.Pin, l gpio.Level) error {
			if p.Calls() > 1 && l == gpio.Low {
				return nil
			}
			return p.Out(l)
		})}},
		{"hours", "outside the hours", with(thirstyScript(), func(s *Script) { s.Hours = true }), tricks{garden: func(g *garden.Garden) *garden.Garden {
			c := *g
			c.Supply.Hours = nil
			return &c
		}}},
		{"frost", "°C", with(thirstyScript(), func(s *Script) { s.Weather, s.Month = "frost", time.March }), tricks{garden: func(g *garden.Garden) *garden.Garden {
			c := *g
			c.Limits.FrostC = -60
			return &c
		}}},
		{"injector released first", "stopped while its injector runs", fedScript(), tricks{coil: trickCoil(func(p *bench.Pin, l gpio.Level) error {
			if p.Number() >= 20 && p.Energised() && l == gpio.Low {
				return nil
			}
			return p.Out(l)
		})}},
		{"injector with water", "runs without water", fedScript(), tricks{coil: trickCoil(func(p *bench.Pin, l gpio.Level) error {
			if p.Number() < 20 && l == gpio.High {
				return nil
			}
			return p.Out(l)
		})}},
		{"feed within its cap", "in a week over its cap", with(fedScript(), func(s *Script) { s.Days = 9 }), tricks{garden: func(g *garden.Garden) *garden.Garden {
			c := *g
			c.Pots = slices.Clone(g.Pots)
			c.Pots[0].Zones = slices.Clone(g.Pots[0].Zones)
			c.Pots[0].Zones[0].Feed.DoseL = garden.Known(8.5)
			return &c
		}}},
		{"no feed twice", "after the last", with(fedScript(), func(s *Script) { s.Mode, s.Restarts = Several, hourly(s.Days) }), tricks{wrap: func(o *Options) {
			o.Journal = forgetsFeeds{o.Journal.(*memBook)}
		}}},
		{"no more than was begun", "of a feed of", fedScript(), tricks{wrap: func(o *Options) {
			o.Journal = halvesFeeds{o.Journal.(*memBook), feed.Begun}
		}}},
		{"no more of a flush than was begun", "of a flush of", fedScript(), tricks{wrap: func(o *Options) {
			o.Journal = halvesFeeds{o.Journal.(*memBook), feed.FlushBegun}
		}}},
		{"no order again on return", "without an intent", NewScript(1, Single, 5, "broker away in mid-watering"), tricks{far: func(e *farEnd) { e.replays = true }}},
		{"one gateway a board", "a second gateway runs", NewScript(3, Single, 3, "second gateway on the board"), tricks{begun: func(b *Bench) {
			b.Clock.At(time.Hour, b.free)
		}}},
		{"one gateway a control socket", "given the control socket", NewScript(3, Single, 3, secondGateway), tricks{unlocked: true}},
		{"a node's own deadline while no gateway lives", "past its deadline", with(farScript(), func(s *Script) {
			for h := 25; h < 90; h += 2 {
				s.Restarts = append(s.Restarts, Restart{At: time.Duration(h)*time.Hour + 11*time.Minute, Down: time.Hour})
			}
		}), tricks{far: func(e *farEnd) { e.frozen = true }}},
		{"closed first once the way is free", "not closed first", with(farScript(), func(s *Script) {
			s.Mishaps = []Mishap{{Kind: "cut off from the broker in mid-watering", At: 25 * time.Hour}}
			// Within the six hours of that cut.
			s.Restarts = []Restart{{At: 39 * time.Hour, Down: 2 * time.Second}}
		}), tricks{far: func(e *farEnd) {
			e.frozen = true
			var whileCut func()
			whileCut = func() {
				e.nodes[0].deaf = e.nodes[0].deaf || e.cut
				e.clock.At(e.clock.Now()+10*time.Second, whileCut)
			}
			whileCut()
		}}},
		{"water balance with a pulse not confirmed ended", "the journal knows of", with(farScript(), func(s *Script) {
			s.Meter, s.Mishaps = true, []Mishap{{Kind: "remote valve deaf in mid-watering", At: 85 * time.Hour}}
		}), tricks{begun: func(b *Bench) { b.Terrace.LeakValve(b.Garden.Lines[1].ID, 10) }}},
		{"pump without flow", "the pump ran dry", NewScript(3, Single, 4, "pump runs dry"), tricks{garden: func(g *garden.Garden) *garden.Garden {
			c := *g
			c.Supply.Pump.FlowWithin = time.Hour
			return &c
		}}},
		{"pump stopped with its lines", "against closed valves", with(thirstyScript(), (*Script).pumped), tricks{coil: trickCoil(func(p *bench.Pin, l gpio.Level) error {
			if p.Number() == pumpPin && p.Energised() && l == gpio.Low {
				return nil
			}
			return p.Out(l)
		})}},
		{"pump stopped with its lines before a line is blocked", "against closed valves", with(thirstyScript(), func(s *Script) {
			s.pumped()
			s.Mode, s.Mishaps = Several, []Mishap{{Kind: "emitters blocked", At: 160 * time.Hour}}
		}), tricks{coil: trickCoil(func(p *bench.Pin, l gpio.Level) error {
			if p.Number() == pumpPin && p.Energised() && l == gpio.Low {
				return nil
			}
			return p.Out(l)
		})}},
		{"pump stopped with its lines after one was", "against closed valves", with(thirstyScript(), func(s *Script) {
			s.pumped()
			s.Mode, s.Mishaps = Several, []Mishap{{Kind: "emitters blocked", At: time.Minute, For: time.Hour}}
		}), tricks{coil: trickCoil(func(p *bench.Pin, l gpio.Level) error {
			if p.Number() == pumpPin && p.Energised() && l == gpio.Low {
				return nil
			}
			return p.Out(l)
		})}},
		{"pump stopped with its lines while the supply is gone", "against closed valves", with(thirstyScript(), func(s *Script) {
			s.pumped()
			s.Mode, s.Mishaps = Several, []Mishap{{Kind: "supply gone", At: time.Minute, For: time.Hour}}
		}), tricks{coil: trickCoil(func(p *bench.Pin, l gpio.Level) error {
			if p.Number() == pumpPin && p.Energised() && l == gpio.Low {
				return nil
			}
			return p.Out(l)
		})}},
		{"injector without flow", "without flow", NewScript(3, Single, 3, "injector without flow"), tricks{garden: func(g *garden.Garden) *garden.Garden {
			c := *g
			c.Lines = slices.Clone(g.Lines)
			c.Lines[0].Injector.FlowWithin = time.Hour
			return &c
		}}},
		{"latch's coil let go, and one at a time", "was left on, were on at once", with(thirstyScript(), func(s *Script) { s.Pots[0].Latch = true }), tricks{begun: func(b *Bench) {
			b.Clock.At(150*time.Hour, func() { ending = true })
		}, coil: heldCoil(&ending)}},
		{"latch's coil on for a moment", "was on for", with(thirstyScript(), func(s *Script) { s.Pots[0].Latch = true }), tricks{begun: func(b *Bench) {
			b.Clock.At(50*time.Hour, func() { ending = true })
			b.Clock.At(61*time.Hour, func() { ending = false })
		}, coil: heldCoil(&ending)}},
		{"injector for feeds only", "for an order of kind", with(fedScript(), func(s *Script) { s.Days = 4 }), tricks{begun: func(b *Bench) { present = b }, coil: trickCoil(func(p *bench.Pin, l gpio.Level) error {
			if p.Number() == 5 && present != nil {
				in := present.Wires.InjectorPin(present.Garden.Lines[0].ID)
				if l == gpio.Low {
					_ = in.Out(l)
				} else {
					defer func() { _ = in.Out(l) }()
				}
			}
			return p.Out(l)
		})}},
		{"a file taken over with every line closed", "taken over while a line was open", with(thirstyScript(), func(s *Script) {
			s.Mode, s.Mishaps = Several, []Mishap{{Kind: "garden file changed", At: 25 * time.Hour}}
		}), tricks{coil: trickCoil(func(p *bench.Pin, l gpio.Level) error {
			if p.Energised() && l == gpio.Low {
				return nil
			}
			return p.Out(l)
		})}},
		{"water balance with a pin that fails", "line l0 gave", with(thirstyScript(), func(s *Script) {
			s.Mode, s.Mishaps = Several, []Mishap{{Kind: "pin fails", Pot: 1, At: 120 * time.Hour, For: 6 * time.Hour}}
		}), forgetsL0},
		{"water balance on a card told to be full", "line l0 gave", with(thirstyScript(), func(s *Script) {
			s.Mode, s.Mishaps = Several, []Mishap{{Kind: "card told to be full and back", At: 50 * time.Hour, For: 6 * time.Hour}}
		}), forgetsL0},
		{"water balance of a line beside one that leaks", "line l0 gave", with(thirstyScript(), func(s *Script) {
			s.Mode, s.Mishaps = Several, []Mishap{{Kind: "valve leaks", Pot: 1, At: 50 * time.Hour, For: 6 * time.Hour}}
		}), forgetsL0},
		{"water balance of a line beside one without its hose", "line l0 gave", with(thirstyScript(), func(s *Script) {
			s.Mode, s.Mishaps = Several, []Mishap{{Kind: "hose off", Pot: 1, At: 50 * time.Hour}}
		}), forgetsL0},
		{"water balance of a line beside one that stays open", "line l0 gave", with(thirstyScript(), func(s *Script) {
			s.Mode, s.Mishaps = Several, []Mishap{{Kind: "valve does not close", Pot: 1, At: 50 * time.Hour, For: 6 * time.Hour}}
		}), forgetsL0},
		{"water balance under a meter with a pin that fails", "the lines gave", with(thirstyScript(), func(s *Script) {
			s.Mode, s.Meter, s.Mishaps = Several, true, []Mishap{{Kind: "pin fails", Pot: 1, At: 120 * time.Hour, For: 6 * time.Hour}}
		}), forgetsL0},
		{"closed within a second of a start", "closing at a start took", thirstyScript(), tricks{begun: func(b *Bench) { present = b }, coil: trickCoil(func(p *bench.Pin, l gpio.Level) error {
			if b := present; b != nil {
				present = nil
				b.Clock.RunUntil(b.Clock.Now() + startClose + time.Millisecond)
			}
			return p.Out(l)
		})}},
		{"no order twice", "was intended twice", thirstyScript(), tricks{wrap: func(o *Options) {
			o.Journal = repeats{o.Journal.(*memBook)}
		}}},
		{"no feed without a beginning", "feeds and no feed was begun", fedScript(), tricks{wrap: func(o *Options) {
			o.Journal = dropsFeeds{o.Journal.(*memBook), feed.Begun}
		}}},
		{"no flush without a beginning", "washes salts out and no flush was begun", fedScript(), tricks{wrap: func(o *Options) {
			o.Journal = dropsFeeds{o.Journal.(*memBook), feed.FlushBegun}
		}}},
		{"no blind flush", "was begun with no good reading", with(fedScript(), func(s *Script) {
			s.Mode, s.Mishaps = Several, []Mishap{{Kind: "probe open", At: 40 * time.Hour}}
		}), tricks{wrap: func(o *Options) {
			honest := o.sampler
			o.sampler = func(s runner.Sampler) runner.Sampler { return believer{honest(s)} }
		}}},
		{"the guard when the loop hangs", "past its deadline", with(thirstyScript(), func(s *Script) {
			s.Mode, s.Mishaps = Several, []Mishap{{Kind: "loop hangs in mid-watering", At: 30 * time.Hour}}
			// A pulse that is over before the supervisor's patience is.
			s.Pots[0].Emitters, s.SupplyL = 20, 40
		}), tricks{hangs: true}},
		{"the terrace's own water", "of water made or lost, L are somewhere", thirstyScript(), tricks{begun: func(b *Bench) {
			b.Clock.At(50*time.Hour, func() { b.Terrace.Column(0).SetSuction(3, 5) })
		}}},
		{"a second gateway touches no line", "a second gateway drove a line before it was refused", NewScript(3, Single, 3, secondGateway), tricks{hasty: func(b *Bench) {
			p := b.Wires.Pin(b.Garden.Lines[0].ID)
			_ = p.Out(gpio.Level(p.Energised() != b.Garden.Lines[0].Valve.ActiveLow)) // as it is
		}}},
		{"a file with another line is refused", "a garden file with another line was taken over", with(thirstyScript(), func(s *Script) {
			s.Mode, s.Mishaps = Several, []Mishap{{Kind: "garden file changed", At: 25 * time.Hour}}
		}), tricks{begun: func(b *Bench) { present = b }, offered: func(*garden.Garden) *garden.Garden {
			return present.Garden // one line is as good as another
		}}},
		{"room beside a line that can't be closed, too early", "24.0 L/h opened on a supply of 12.0 L/h", oneStuck, deniedFrom(oneFailed, &present)},
		{"room beside a line that can't be closed, for two", "that nobody can close and not alone", twoStuck, deniedFrom(twoFailed+keptFree+time.Minute, &present)},
		{"no alarm without a fault", falseAlarm + alarm.ProbeDead.String(), NewScript(3, Clean, 4, ""), tricks{wrap: func(o *Options) {
			honest := o.sampler
			o.sampler = func(s runner.Sampler) runner.Sampler { return doubter{honest(s)} }
		}}},
	}
	for n, c := range cases {
		if testing.Short() && n%3 != 0 {
			continue // as in TestOneAlarmForOneCause
		}
		t.Run(c.name, func(t *testing.T) {
			ending, present = false, nil
			whole, err := Play(c.script)
			require.NoError(t, err)
			require.Empty(t, saidOf(whole, c.says), "nothing is broken yet")
			got, err := play(c.script, c.tr)
			require.NoError(t, err)
			for says := range strings.SplitSeq(c.says, ", ") {
				said := saidOf(got, c.says)
				found := slices.ContainsFunc(said, func(v string) bool { return strings.Contains(v, says) })
				assert.True(t, found, "expected %q among %v", says, said)
			}
		})
	}
}

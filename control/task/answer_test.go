package task

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fabricpot/control/garden"
)

func respond(t require.TestingT, s Sign, f Facts) Answer {
	a, err := Respond(Observation{Zone: "chilli", Name: "the chilli", Sign: s, Text: "since Sunday", Photo: "p.jpg", At: t0}, f)
	require.NoError(t, err)
	return a
}

func TestRespond(t *testing.T) {
	k := garden.Known
	healthy := Facts{DaysSinceFeed: k(5), NDaysLeft: k(20), Dips: k(0), SaturatedHours: k(0), HottestC: k(28), ColdestC: k(18), Water: k(0.5), Refill: k(0.45), Capacity: k(0.6), DrainMS: k(1.5), FeedMS: k(1.5)}
	with := func(set func(*Facts)) Facts {
		f := healthy
		set(&f)
		return f
	}
	hungry := func(f *Facts) { f.DaysSinceFeed, f.NDaysLeft = k(43), k(0) }
	for _, c := range []struct {
		name         string
		sign         Sign
		facts        Facts
		cause        string
		first, leave string
	}{
		// Extension sheet "Plant nutrient deficiencies" (READ): oldest leaves
		// evenly pale, veins too: nitrogen, which moves from old to new leaves.
		{"hungry", PaleLowerLeaves, with(hungry), "nitrogen", "give the feed that is due", "old leaves don't turn green"},
		{"hungry but saturated: no feed", PaleLowerLeaves, with(func(f *Facts) { hungry(f); f.SaturatedHours = k(30) }), "too wet", "stop watering", "no feed before the pot has dried"},
		{"hungry but salty: no feed", SlowGrowth, with(func(f *Facts) { hungry(f); f.DrainMS = k(5) }), "salts", "flush", "no feed until drainage is down"},
		{"hungry but hot: no feed", SlowGrowth, with(func(f *Facts) { hungry(f); f.HottestC = k(39) }), "too hot", "shade", "no feed while the mix passes 35"},
		// From memory: wilting with high water content points to root-zone air.
		{"limp and wet", Limp, with(func(f *Facts) { f.SaturatedHours = k(40); f.Water = k(0.61) }), "too wet", "stop watering", "no water and no feed"},
		{"limp and dry", Limp, with(func(f *Facts) { f.Dips = k(3); f.Water = k(0.3) }), "too dry", "soak it slowly", ""},
		// Both in one week: as it stands now is likelier, and that alone is acted on.
		{"limp, dry once and full now", Limp, with(func(f *Facts) { f.Dips = k(2); f.Water = k(0.61) }), "too wet", "stop watering", "no water and no feed"},
		{"limp, full for a day and dry now", Limp, with(func(f *Facts) { f.SaturatedHours = k(30); f.Water = k(0.4) }), "too dry", "soak it slowly", ""},
		{"limp, full and salty", Limp, with(func(f *Facts) { f.Water, f.DrainMS = k(0.61), k(6) }), "too wet", "once it is down to its refill point, flush", "no feed"},
		// Extension description (READ) of early blight: rings, yellow halo,
		// older leaves first; a disease, do not feed.
		{"rings", RingedSpots, with(hungry), "hunger", "take off the marked leaves", "don't feed for spots"},
		// UF/IFAS CV216 (READ): K in excess keeps Mg out; blossom end after
		// uneven water or early excess of N or K.
		{"too much feed", GreenVeinsLower, with(func(f *Facts) { f.DaysSinceFeed, f.NDaysLeft = k(2), k(40) }), "potassium", "", "leave out the next feed"},
		{"blossom end", SunkenFruitEnd, with(func(f *Facts) { f.Dips = k(4) }), "uneven water", "soak it slowly", ""},
		{"purple and cold", PurpleUndersides, with(func(f *Facts) { f.ColdestC = k(10) }), "cold roots", "", "no feed until the mix is over 12"},
		{"crust", WhiteCrust, with(func(f *Facts) { f.DrainMS = garden.Measured{} }), "salts", "measure its EC", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			a := respond(t, c.sign, c.facts)
			assert.Contains(t, a.Causes[0].Name, c.cause)
			assert.Contains(t, strings.Join(a.First, "\n"), c.first)
			assert.Contains(t, strings.Join(a.LeaveAlone, "\n"), c.leave)
			if said := strings.Join(a.First, "\n"); strings.Contains(said, "stop watering") {
				assert.NotContains(t, said, "soak it slowly", "one or the other")
				assert.NotContains(t, said, "water in the morning")
			}
			if c.leave != "" && strings.Contains(c.leave, "feed") {
				assert.NotContains(t, strings.Join(a.First, "\n"), "give the feed")
				assert.False(t, a.Recover)
			}
		})
	}
	t.Run("evidence is this pot's", func(t *testing.T) {
		a := respond(t, PaleLowerLeaves, with(hungry))
		assert.Contains(t, a.Causes[0].Evidence, "fed 43 days ago")
		assert.Equal(t, For.String(), a.Causes[0].Support)
		assert.True(t, a.Recover)
	})
	t.Run("once is not one times", func(t *testing.T) {
		for dips, words := range map[float64]string{0: "point 0 times in", 1: "point once in", 2: "point 2 times in"} {
			a := respond(t, Limp, with(func(f *Facts) { f.Dips, f.Water = k(dips), k(0.3) }))
			assert.Contains(t, strings.Join(a.Causes[0].Evidence, "; "), words)
		}
	})
	t.Run("with no records the order is a grower's", func(t *testing.T) {
		a := respond(t, PaleLowerLeaves, Facts{})
		assert.Contains(t, a.Causes[0].Name, "too wet")
		assert.Contains(t, a.Causes[1].Name, "too dry")
		for _, c := range a.Causes {
			assert.Equal(t, NotKnown.String(), c.Support)
		}
		assert.Contains(t, a.First[0], "look up when it was fed last")
	})
	t.Run("all well", func(t *testing.T) {
		a := respond(t, AllWell, healthy)
		assert.Empty(t, a.Causes)
		assert.Nil(t, a.LookAgain)
	})
}

// Whatever is seen and whatever the records hold: the answer has a first step,
// a source beside every cause, a look in 3 to 5 days, and never says feed where
// the pot may not be fed.
func TestAnswersAreWhole(t *testing.T) {
	maybe := func(t *rapid.T, name string, lo, hi float64) garden.Measured {
		if rapid.Bool().Draw(t, name+"?") {
			return garden.Known(rapid.Float64Range(lo, hi).Draw(t, name))
		}
		return garden.Measured{}
	}
	rapid.Check(t, func(t *rapid.T) {
		f := Facts{
			DaysSinceFeed: maybe(t, "fed", 0, 60), NDaysLeft: maybe(t, "left", 0, 60), Dips: maybe(t, "dips", 0, 9),
			SaturatedHours: maybe(t, "sat", 0, 100), HottestC: maybe(t, "hot", 10, 50), ColdestC: maybe(t, "cold", 0, 25),
			Water: maybe(t, "water", 0.2, 0.7), Refill: maybe(t, "refill", 0.4, 0.5), Capacity: maybe(t, "cap", 0.5, 0.65),
			DrainMS: maybe(t, "drain", 0, 7), FeedMS: maybe(t, "feed", 0, 3), AlikeElsewhere: maybe(t, "alike", 0, 0),
		}
		s := rapid.SampledFrom(Signs()[1:]).Draw(t, "sign").Sign
		a := respond(t, s, f)
		require.NotEmpty(t, a.Causes)
		require.NotEmpty(t, a.First)
		require.NotEmpty(t, a.Caveat)
		for i, c := range a.Causes {
			require.NotEmpty(t, c.Source)
			require.NotEmpty(t, c.Check)
			if i > 0 {
				require.LessOrEqual(t, rank(a.Causes[i-1].support), rank(c.support))
			}
			require.Equal(t, c.support != NotKnown, len(c.Evidence) > 0)
		}
		require.Equal(t, t0.Add(72*time.Hour), a.LookAgain.Due)
		require.Equal(t, t0.Add(120*time.Hour), a.LookAgain.Until)
		require.Equal(t, []string{a.Words, "since Sunday", "photo p.jpg"}, a.LookAgain.Seen)
		if feedBar(f) != "" {
			require.NotContains(t, strings.Join(a.First, "\n"), "feed that is due")
			require.NotContains(t, strings.Join(a.First, "\n"), "give one modest feed")
		}
	})
}

func TestLookAgainShowsWhatWasDone(t *testing.T) {
	b := NewBook(nil)
	a := respond(t, PaleLowerLeaves, Facts{})
	b.Open(*a.LookAgain)
	w := water(t, "chilli", t0.Add(time.Hour), 4)
	b.Open(w)
	_, err := b.Done(w.ID, Report{At: t0.Add(2 * time.Hour), Litres: garden.Known(3.5), Note: "ran out below"})
	require.NoError(t, err)
	l := b.List(t0.Add(80 * time.Hour))
	require.Len(t, l, 1)
	assert.Equal(t, "due", l[0].Urgency)
	assert.Contains(t, l[0].Seen[0], "lowest leaves")
	assert.Equal(t, []string{"2 June: Water chilli: 4.0 L, done with 3.5 L (ran out below)"}, l[0].Since)
}

func TestParseSign(t *testing.T) {
	s, err := ParseSign(" Pale lower_leaves ")
	require.NoError(t, err)
	assert.Equal(t, PaleLowerLeaves, s)
	_, err = ParseSign("ringed-leaves")
	require.ErrorContains(t, err, "did you mean")
	_, err = ParseSign("xx")
	require.Error(t, err)
	_, err = ParseSign(strings.Repeat("a", 100))
	require.Error(t, err)
	_, err = Respond(Observation{Sign: "nonsense"}, Facts{})
	require.Error(t, err)
	_, err = Respond(Observation{Sign: Limp, Text: strings.Repeat("a", 2001)}, Facts{})
	require.Error(t, err)
	for _, i := range Signs()[1:] {
		assert.NotEmpty(t, candidates(i.Sign, Facts{}), i.Sign)
	}
}

func TestRound(t *testing.T) {
	stops := []Stop{{"chilli", "the chilli"}, {"chard", "the chard"}}
	r, err := NewRound(t0, stops)
	require.NoError(t, err)
	assert.Equal(t, "round-2025-w23", r.ID)
	assert.Contains(t, r.Steps[0], "the chilli, the chard")
	_, err = NewRound(t0, nil)
	require.Error(t, err)
	assert.True(t, RoundDue(t0, time.Time{}))
	assert.False(t, RoundDue(t0.Add(RoundEvery-1), t0))

	eyes, err := ReadEyes("chilli", t0, map[string]string{
		"new-growth": "Green", "lower-leaves": "pale, veins too", "lower-count": "4", "lower-height": "30 %",
		"spots": "with rings", "drainage": "a little", "photo": "a.jpg", "fruit": "",
	})
	require.NoError(t, err)
	assert.Equal(t, []Sign{PaleLowerLeaves, RingedSpots}, eyes.Signs)
	assert.Equal(t, map[string]string{"new-growth": "green", "lower-leaves": "pale, veins too", "spots": "with rings", "drainage": "a little"}, eyes.Words)
	assert.Equal(t, garden.Known(4), eyes.LowerCount)
	assert.InDelta(t, 0.3, eyes.LowerHeight.Value, 1e-12)
	assert.Equal(t, "a.jpg", eyes.Photo)
	var back Eyes
	for _, a := range eyes.Answers() {
		back.Take(a)
	}
	back.Zone, back.At = eyes.Zone, eyes.At
	assert.Equal(t, eyes, back, "what is kept is what was seen")
	for name, bad := range map[string]map[string]string{
		"expected one of":      {"spots": "purple ones"},
		"no question \"mood\"": {"mood": "good"},
		"whole number":         {"lower-count": "4.5"},
		"from 0 to 500":        {"lower-count": "-1"},
		"part from 0 to 1":     {"lower-height": "30"},
		"such as 0.3":          {"lower-height": "NaN"},
		"one line":             {"photo": "a\nb"},
	} {
		_, err := ReadEyes("chilli", t0, bad)
		assert.ErrorContains(t, err, name)
	}
	third, err := ReadEyes("chilli", t0, map[string]string{"lower-height": "1/3"})
	require.NoError(t, err)
	assert.InDelta(t, 1.0/3, third.LowerHeight.Value, 1e-12)
}

// The same sign on other pots under the same feed speaks for food, a pot that
// stands alone with it for disease or pest (rule, from memory).
func TestAlikeElsewhere(t *testing.T) {
	seen := func(signs ...Sign) Eyes { return Eyes{Signs: signs} }
	told := func(q, w string) Eyes { return Eyes{Words: map[string]string{q: w}} }
	assert.False(t, Alike(PaleLowerLeaves, nil).Known)
	assert.False(t, Alike(PaleLowerLeaves, []Eyes{told(AskSpots, "none")}).Known, "a look that did not ask for it")
	assert.Equal(t, garden.Known(1), Alike(PaleLowerLeaves, []Eyes{seen(PaleLowerLeaves), told(AskLowerLeaves, "green")}))
	assert.Equal(t, garden.Known(0), Alike(PaleLowerLeaves, []Eyes{told(AskLowerLeaves, "green"), seen(AllWell), told(AskLowerLeaves, "brown edges")}))

	f := Facts{DaysSinceFeed: garden.Known(9), AlikeElsewhere: garden.Known(1)}
	assert.Equal(t, For, f.hungry().support)
	assert.Equal(t, Against, f.spreading().support)
	f.NDaysLeft = garden.Known(40)
	assert.Equal(t, Against, f.hungry().support, "the ledger has plenty")
	f.NDaysLeft = garden.Measured{}
	f.AlikeElsewhere = garden.Known(0)
	assert.Equal(t, Against, f.hungry().support)
	assert.Equal(t, For, f.spreading().support)
}

// What was answered on the round weighs in the answer.
func TestEyesInAnswers(t *testing.T) {
	words := func(q, w string) Facts { return Facts{Eyes: Eyes{Words: map[string]string{q: w}}} }
	assert.Equal(t, For, words(AskDrainage, standsWord).tooWet().support)
	assert.Equal(t, For, words(AskDrainage, throughWord).tooDry().support)
	f := words(AskNewGrowth, greenWord)
	f.DaysSinceFeed, f.NDaysLeft = garden.Known(6), garden.Known(1)
	v := f.hungry()
	assert.Equal(t, Against, v.support, "the last feed works already")
	assert.Contains(t, v.evidence, "the newest growth is green")
	f.DaysSinceFeed = garden.Known(30)
	assert.Equal(t, For, f.hungry().support)

	f = words(AskSpots, "with rings")
	f.NDaysLeft = garden.Known(1)
	a, err := Respond(Observation{Zone: "z", Sign: PaleLowerLeaves, At: t0}, f)
	require.NoError(t, err)
	assert.False(t, a.Recover, "spots come before food")
	assert.Contains(t, a.LeaveAlone, "don't feed for spots: food does not cure them")

	f = Facts{SaltMS: garden.Known(3.4), FeedMS: garden.Known(1.2)}
	assert.Equal(t, For, f.salty().support)
	f.DrainMS = garden.Known(1.5)
	assert.Equal(t, Against, f.salty().support, "what was measured wins over the account")
}

func TestRecovery(t *testing.T) {
	in := RecoveryInput{Zone: "chilli", Name: "the chilli", Start: t0, VolumeL: 40, SoakL: 6, HoseLPM: garden.Known(10)}
	plan, err := Recovery(in)
	require.NoError(t, err)
	var kinds []string
	for i, s := range plan {
		switch {
		case s.AskFeed:
			kinds = append(kinds, "feed")
		case s.Task != nil:
			kinds = append(kinds, string(s.Task.Kind))
		}
		if i > 0 {
			assert.GreaterOrEqual(t, s.Day, plan[i-1].Day)
		}
	}
	assert.Equal(t, []string{"water", "feed", "look", "feed", "prune"}, kinds)
	assert.Equal(t, 3, plan[2].Day)
	assert.Equal(t, 5, plan[2].ToDay)
	in.Facts.HottestC = garden.Known(40)
	plan, err = Recovery(in)
	require.NoError(t, err)
	assert.Contains(t, plan[1].Words, "35")
	in.SoakL = -1
	plan, err = Recovery(in)
	require.NoError(t, err)
	assert.Nil(t, plan[0].Task)
}

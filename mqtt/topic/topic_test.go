package topic

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fabricpot/control/garden"
)

func tree(t require.TestingT) Tree {
	tr, err := NewTree("", "roof")
	require.NoError(t, err)
	return tr
}

func TestTopicsAreBuiltAndParsedBack(t *testing.T) {
	tr := tree(t)
	for _, k := range Kinds() {
		name := ""
		if k.Named() {
			name = "chilli-2"
		}
		s := tr.Of(k, name)
		require.NotEmpty(t, s)
		assert.True(t, ValidName(s), s)
		gotK, gotName := tr.Parse(s)
		assert.Equal(t, k, gotK, s)
		assert.Equal(t, name, gotName, s)
		assert.True(t, ValidFilter(tr.All(k)))
		assert.True(t, Match(tr.All(k), s))
	}
	assert.Equal(t, "fabricpot/roof/valve/tap-1/set", tr.Of(ValveSet, "tap-1"))
}

func TestNamesThatCannotBeTopicsBuildNothing(t *testing.T) {
	tr := tree(t)
	for _, name := range []string{"", "a/b", "+", "#", "A", "ä", "-a", "a-", strings.Repeat("a", 49), "a\x00"} {
		assert.Empty(t, tr.Of(Zone, name), "%q", name)
	}
	assert.Empty(t, tr.Of(Status, "chilli"), "a kind without a name takes none")
	assert.Empty(t, tr.Of(None, ""))
	assert.Empty(t, Tree{}.Of(Status, ""))
	for _, bad := range []struct{ prefix, site string }{{"", ""}, {"a/b/c/d", "s"}, {"a//b", "s"}, {"+", "s"}, {"a", "s/t"}, {"a", "#"}} {
		_, err := NewTree(bad.prefix, bad.site)
		assert.Error(t, err, "%v", bad)
	}
}

func TestForeignTopicsParseToNothing(t *testing.T) {
	tr := tree(t)
	for _, s := range []string{
		"", "/", "fabricpot", "fabricpot/roof", "fabricpot/roof/", "fabricpot/roof2/status", "fabricpot/roof/status/",
		"fabricpot/roof/zone", "fabricpot/roof/zone/", "fabricpot/roof/zone/a/b", "fabricpot/roof/valve/set", "fabricpot/roof/valve//set",
		"fabricpot/roof/valve/A/set", "xfabricpot/roof/status", "fabricpot/roofxstatus",
	} {
		k, _ := tr.Parse(s)
		assert.Equal(t, None, k, "%q", s)
	}
}

func TestMatch(t *testing.T) {
	// Examples of MQTT 3.1.1, sections 4.7.1.2 and 4.7.1.3 (from memory).
	for _, c := range []struct {
		filter, name string
		want         bool
	}{
		{"sport/tennis/player1/#", "sport/tennis/player1", true},
		{"sport/tennis/player1/#", "sport/tennis/player1/ranking", true},
		{"sport/tennis/player1/#", "sport/tennis/player1/score/wimbledon", true},
		{"sport/#", "sport", true},
		{"#", "anything/at/all", true},
		{"sport/tennis/+", "sport/tennis/player1", true},
		{"sport/tennis/+", "sport/tennis/player1/ranking", false},
		{"sport/+", "sport", false},
		{"sport/+", "sport/", true},
		{"+/+", "/finance", true},
		{"/+", "/finance", true},
		{"+", "/finance", false},
		{"a/b", "a/b/c", false},
		{"a/b/c", "a/b", false},
	} {
		assert.Equal(t, c.want, Match(c.filter, c.name), "%s against %s", c.name, c.filter)
	}
}

func TestOverlapsMeansACommonName(t *testing.T) {
	for _, c := range []struct {
		a, b string
		want bool
	}{
		{"#", "a/b/c", true}, {"a/#", "a", true}, {"a/+", "+/b", true}, {"a/+/c", "a/b/#", true}, {"a/#", "a/b/+", true},
		{"+/b", "a/c", false}, {"a/+", "a", false}, {"a/+", "a/b/c", false}, {"a/#", "b/#", false}, {"a/+/#", "a", false},
	} {
		assert.Equal(t, c.want, Overlaps(c.a, c.b), "%s and %s", c.a, c.b)
	}
	// Over a few words, held against Match on every name that could tell.
	level := rapid.SampledFrom([]string{"a", "b", "+"})
	filter := rapid.Custom(func(t *rapid.T) string {
		levels := rapid.SliceOfN(level, 0, 3).Draw(t, "levels")
		if len(levels) == 0 || rapid.Bool().Draw(t, "rest") {
			levels = append(levels, "#")
		}
		return strings.Join(levels, "/")
	})
	var names []string
	for at, last := []string{"a", "b"}, 0; last < 4; last++ {
		names = append(names, at...)
		var next []string
		for _, n := range at {
			next = append(next, n+"/a", n+"/b")
		}
		at = next
	}
	rapid.Check(t, func(t *rapid.T) {
		a, b := filter.Draw(t, "a"), filter.Draw(t, "b")
		common := false
		for _, n := range names {
			common = common || Match(a, n) && Match(b, n)
		}
		if got := Overlaps(a, b); got != common || got != Overlaps(b, a) {
			t.Fatalf("%s and %s: %v, of the names %v", a, b, got, common)
		}
	})
}

func TestCoversMeansEveryMatch(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		level := rapid.SampledFrom([]string{"a", "b", "+"})
		last := rapid.SampledFrom([]string{"a", "b", "+", "#"})
		filter := func(label string) string {
			l := rapid.SliceOfN(level, 0, 3).Draw(t, label)
			return strings.Join(append(l, last.Draw(t, label+" last")), "/")
		}
		outer, inner := filter("outer"), filter("inner")
		// The dumb second version: try every short name.
		all, witness := true, ""
		var walk func(prefix []string)
		walk = func(prefix []string) {
			if len(prefix) > 0 {
				n := strings.Join(prefix, "/")
				if Match(inner, n) && !Match(outer, n) {
					all, witness = false, n
				}
			}
			if len(prefix) < 5 {
				for _, l := range []string{"a", "b", "c"} {
					walk(append(prefix[:len(prefix):len(prefix)], l))
				}
			}
		}
		walk(nil)
		if Covers(outer, inner) && !all {
			t.Fatalf("%s is said to cover %s but %s escapes", outer, inner, witness)
		}
		// The other way may be refused only where it is "#" spelt out.
		if all && !Covers(outer, inner) && !strings.HasSuffix(inner, "#") && !strings.HasSuffix(outer, "#") {
			t.Fatalf("%s covers %s and is refused", outer, inner)
		}
	})
}

func FuzzParse(f *testing.F) {
	tr := tree(f)
	for _, k := range Kinds() {
		f.Add(tr.All(k))
		f.Add(strings.ReplaceAll(tr.All(k), "+", "chilli"))
	}
	f.Add("fabricpot/roof/valve/a/set/state")
	f.Fuzz(func(t *testing.T, s string) {
		k, name := tr.Parse(s)
		if k == None {
			return
		}
		if name != "" && !garden.ValidID(name) {
			t.Fatalf("%q gave name %q", s, name)
		}
		if tr.Of(k, name) != s {
			t.Fatalf("%q does not come back: kind %d, name %q", s, k, name)
		}
	})
}

func FuzzMatch(f *testing.F) {
	f.Add("a/+/#", "a/b/c")
	f.Add("+", "")
	f.Add("#", "/")
	f.Fuzz(func(t *testing.T, filter, name string) {
		got := Match(filter, name)
		if !ValidFilter(filter) || !ValidName(name) {
			return
		}
		if filter == name && !got {
			t.Fatal("a topic matches itself")
		}
		if got != Covers(filter, name) {
			t.Fatalf("match %v and covers %v differ for filter %q, name %q", got, !got, filter, name)
		}
	})
}

package valves

import (
	"go/ast"
	"go/parser"
	"go/token"
	"maps"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// wrappers are all ways to put something around a line's valve, by the name of
// the type they make.
var wrappers = map[string]func(line Actuator) Actuator{
	"pumped": func(line Actuator) Actuator {
		return NewPump(&fakeValve{name: "pump", known: true}).Behind(line)
	},
	"Owned": func(line Actuator) Actuator { return Own(line, time.Minute, realTime{}) },
	"withInjector": func(line Actuator) Actuator {
		return WithInjector(line, &fakeValve{name: "another injector", known: true})
	},
}

// TestWrappersHideNothing: whatever stands around an injector, the guard finds it
// and holds it to its own limit and to its proof of flow; and no wrapper is
// forgotten here.
func TestWrappersHideNothing(t *testing.T) {
	assert.ElementsMatch(t, actuatorsAround(t), slices.Collect(maps.Keys(wrappers)), "a wrapper has no case in this test")
	for name, wrap := range wrappers {
		_, ok := wrap(&fakeValve{}).(wrapper)
		assert.True(t, ok, "%s hides what it is put around", name)
	}
	rigOf := func(t *testing.T, wrap func(Actuator) Actuator, change func(*garden.Garden)) (*rig, *fakeValve) {
		r, inj := dosingRig(t, change)
		r.lines[0].act = wrap(r.lines[0].act)
		r.CloseAll(at(time.Hour))
		return r, inj
	}
	behind := wrappers["pumped"]
	twice := func(a Actuator) Actuator { return behind(behind(a)) }
	for name, wrap := range map[string]func(Actuator) Actuator{"a pump": behind, "two pumps": twice, "an owner": wrappers["Owned"]} {
		t.Run(name+", its own limit", func(t *testing.T) {
			r, inj := rigOf(t, wrap, func(g *garden.Garden) { g.Lines[0].Injector.MaxRun = 5 * time.Minute })
			o := r.order("chilli", 2, time.Hour)
			o.Dosed = true
			_, ok := r.Request(at(2*time.Hour), Env{}, o)
			require.True(t, ok)
			require.True(t, inj.open)
			next, any := r.NextDeadline()
			require.True(t, any)
			assert.Equal(t, 2*time.Hour+5*time.Minute, next)
			require.Empty(t, r.Advance(at(next)))
			assert.False(t, inj.open, "beyond its own limit")
			assert.True(t, r.valves["chilli"].open)
		})
		t.Run(name+", no flow", func(t *testing.T) {
			r, inj := rigOf(t, wrap, metered)
			r.Meter(at(2*time.Hour), garden.Known(0))
			o := r.order("chilli", 2, time.Hour)
			o.Kind = garden.Feeding
			_, ok := r.Request(at(2*time.Hour), Env{}, o)
			require.True(t, ok)
			for s := time.Duration(0); s <= garden.DefaultFlowWithin; s += time.Second {
				r.Meter(at(2*time.Hour+s), garden.Known(0))
				r.Advance(at(2*time.Hour + s))
			}
			assert.False(t, inj.open, "it runs without water")
			assert.False(t, r.valves["chilli"].open, "a feed without water goes on")
		})
	}
	t.Run("an injector around a pump", func(t *testing.T) {
		d, ok := doserOf(wrappers["withInjector"](behind(&fakeValve{known: true})))
		require.True(t, ok)
		require.NoError(t, d.StopDosing())
	})
	t.Run("a pump alone has none", func(t *testing.T) {
		_, ok := doserOf(behind(&fakeValve{}))
		assert.False(t, ok)
	})
}

// actuatorsAround are the package's types that open, and hold an Actuator.
func actuatorsAround(t *testing.T) (out []string) {
	t.Helper()
	set := token.NewFileSet()
	files, err := filepath.Glob("*.go")
	require.NoError(t, err)
	holds, opens := map[string]bool{}, map[string]bool{}
	for _, file := range files {
		if strings.HasSuffix(file, "_test.go") {
			continue
		}
		f, err := parser.ParseFile(set, file, nil, 0)
		require.NoError(t, err)
		ast.Inspect(f, func(n ast.Node) bool {
			switch n := n.(type) {
			case *ast.TypeSpec:
				s, ok := n.Type.(*ast.StructType)
				if !ok {
					return true
				}
				for _, field := range s.Fields.List {
					if id, ok := field.Type.(*ast.Ident); ok && id.Name == "Actuator" {
						holds[n.Name.Name] = true
					}
				}
			case *ast.FuncDecl:
				if n.Name.Name != "Open" || n.Recv == nil {
					return true
				}
				r := n.Recv.List[0].Type
				if p, ok := r.(*ast.StarExpr); ok {
					r = p.X
				}
				opens[r.(*ast.Ident).Name] = true
			}
			return true
		})
	}
	for name := range holds {
		if opens[name] {
			out = append(out, name)
		}
	}
	return out
}

package house

import (
	"fmt"
	"go/ast"
	"go/token"
	"go/types"
	"path/filepath"
	"sort"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/tools/go/packages"
)

// load type-checks every package of the module, tests left out. It is slow
// enough to be worth doing once for all rules.
var load = sync.OnceValues(func() ([]*packages.Package, error) {
	cfg := &packages.Config{
		Mode: packages.NeedName | packages.NeedFiles | packages.NeedImports |
			packages.NeedTypes | packages.NeedSyntax | packages.NeedTypesInfo,
		Dir: "../../../..",
	}
	pkgs, err := packages.Load(cfg, "./...")
	if err != nil {
		return nil, err
	}
	for _, p := range pkgs {
		if len(p.Errors) > 0 {
			return nil, fmt.Errorf("%s: %v", p.PkgPath, p.Errors[0])
		}
	}
	return pkgs, nil
})

func modulePackages(t *testing.T) []*packages.Package {
	t.Helper()
	pkgs, err := load()
	require.NoError(t, err)
	require.Greater(t, len(pkgs), 3, "the module's packages were not found")
	return pkgs
}

func report(t *testing.T, broken []string) {
	t.Helper()
	sort.Strings(broken)
	assert.Empty(t, broken, strings.Join(broken, "\n"))
}

func TestImportsPointDown(t *testing.T) {
	var broken []string
	for _, p := range modulePackages(t) {
		for to := range p.Imports {
			if why := forbiddenImport(p.PkgPath, to); why != "" {
				broken = append(broken, fmt.Sprintf("%s imports %s: %s", p.PkgPath, to, why))
			}
		}
	}
	report(t, broken)
}

// TestNothingThatShipsStartsPrograms follows the imports of the program; packages
// that only tests use may start a broker or a browser.
func TestNothingThatShipsStartsPrograms(t *testing.T) {
	byPath := map[string]*packages.Package{}
	for _, p := range modulePackages(t) {
		byPath[p.PkgPath] = p
	}
	todo, seen := []string{module + "/cmd/gateway"}, map[string]bool{}
	var broken []string
	for len(todo) > 0 {
		p := byPath[todo[0]]
		todo = todo[1:]
		if p == nil || seen[p.PkgPath] {
			continue
		}
		seen[p.PkgPath] = true
		for to := range p.Imports {
			if to == "os/exec" {
				broken = append(broken, p.PkgPath+" imports os/exec")
			}
			todo = append(todo, to)
		}
	}
	require.Greater(t, len(seen), 10, "the program's own packages were not found")
	report(t, broken)
}

// callee resolves a called function to its package, receiver type and name.
func callee(info *types.Info, id *ast.Ident) (pkg, recv, name string, ok bool) {
	fn, isFn := info.Uses[id].(*types.Func)
	if !isFn || fn.Pkg() == nil {
		return "", "", "", false
	}
	if r := fn.Type().(*types.Signature).Recv(); r != nil {
		recv = r.Type().String()
	}
	return fn.Pkg().Path(), recv, fn.Name(), true
}

// TestForbiddenCalls looks at every use of a function, called or passed on, so
// that `now: time.Now` is found as well as `time.Now()`.
func TestForbiddenCalls(t *testing.T) {
	var broken []string
	for _, p := range modulePackages(t) {
		for id := range p.TypesInfo.Uses {
			pkg, recv, name, ok := callee(p.TypesInfo, id)
			if !ok {
				continue
			}
			at := p.Fset.Position(id.Pos())
			if why := forbiddenCall(p.PkgPath, filepath.Base(at.Filename), pkg, recv, name); why != "" {
				broken = append(broken, fmt.Sprintf("%s: %s.%s: %s", at, pkg, name, why))
			}
		}
	}
	report(t, broken)
}

func TestForbiddenConstants(t *testing.T) {
	var broken []string
	for _, p := range modulePackages(t) {
		for id, used := range p.TypesInfo.Uses {
			c, isConst := used.(*types.Const)
			if !isConst || c.Pkg() == nil {
				continue
			}
			at := p.Fset.Position(id.Pos())
			if why := forbiddenConst(p.PkgPath, filepath.Base(at.Filename), c.Pkg().Path(), c.Name()); why != "" {
				broken = append(broken, fmt.Sprintf("%s: %s.%s: %s", at, c.Pkg().Path(), c.Name(), why))
			}
		}
	}
	report(t, broken)
}

func TestNoInitFunctions(t *testing.T) {
	var broken []string
	for _, p := range modulePackages(t) {
		for _, f := range p.Syntax {
			for _, d := range f.Decls {
				if fn, ok := d.(*ast.FuncDecl); ok && fn.Recv == nil && fn.Name.Name == "init" {
					broken = append(broken, p.Fset.Position(fn.Pos()).String()+": init()")
				}
			}
		}
	}
	report(t, broken)
}

// TestPackageVariablesAreNeverWritten proves that there is no mutable state at
// package level: tables and sentinels may live there, but no shipped line
// assigns to one, to an element of one, or takes its address.
func TestPackageVariablesAreNeverWritten(t *testing.T) {
	var broken []string
	for _, p := range modulePackages(t) {
		note := func(e ast.Expr, what string) {
			if v := packageVar(p.TypesInfo, e); v != nil && strings.HasPrefix(v.Pkg().Path(), module) {
				broken = append(broken, fmt.Sprintf("%s: %s %s", p.Fset.Position(e.Pos()), what, v.Name()))
			}
		}
		for _, f := range p.Syntax {
			if ast.IsGenerated(f) {
				continue
			}
			ast.Inspect(f, func(n ast.Node) bool {
				switch n := n.(type) {
				case *ast.AssignStmt:
					if n.Tok != token.DEFINE {
						for _, l := range n.Lhs {
							note(l, "writes")
						}
					}
				case *ast.IncDecStmt:
					note(n.X, "writes")
				case *ast.UnaryExpr:
					if n.Op == token.AND {
						note(n.X, "takes the address of")
					}
				}
				return true
			})
		}
	}
	report(t, broken)
}

// packageVar returns the package-level variable at the root of an expression
// such as v, v.f, v[i] or *v.
func packageVar(info *types.Info, e ast.Expr) *types.Var {
	for {
		switch x := e.(type) {
		case *ast.ParenExpr:
			e = x.X
		case *ast.IndexExpr:
			e = x.X
		case *ast.StarExpr:
			e = x.X
		case *ast.SelectorExpr:
			if v, ok := info.Uses[x.Sel].(*types.Var); ok && !v.IsField() && isPackageLevel(v) {
				return v
			}
			e = x.X
		case *ast.Ident:
			if v, ok := info.Uses[x].(*types.Var); ok && isPackageLevel(v) {
				return v
			}
			return nil
		default:
			return nil
		}
	}
}

func isPackageLevel(v *types.Var) bool {
	return v.Pkg() != nil && v.Parent() == v.Pkg().Scope()
}

// TestRulesBite holds the rules against examples that break them, so that a
// rule that matches nothing is noticed.
func TestRulesBite(t *testing.T) {
	for _, c := range []struct{ from, to string }{
		{"fabricpot/control", "os"},
		{"fabricpot/control/feed", "net/http"},
		{"fabricpot/control/garden", "fabricpot/control/medium"},
		{"fabricpot/control", "fabricpot/valves"},
		{"fabricpot/sim/terrace", "fabricpot/control"},
		{"fabricpot/sim/terrace", "fabricpot/control/medium"},
		{"fabricpot/sim/bench", "fabricpot/sensors/ads1115"},
		{"fabricpot/valves", "fabricpot/cmd/gateway"},
		{"fabricpot/sensors", "fabricpot/valves"},
		{"fabricpot/cmd/gateway/internal/notify", "text/template"},
	} {
		assert.NotEmpty(t, forbiddenImport(c.from, c.to), "%s → %s", c.from, c.to)
	}
	for _, c := range []struct{ from, to string }{
		{"fabricpot/sim/terrace", "fabricpot/control/weather"},
		{"fabricpot/mqtt/valve", "fabricpot/valves"},
		{"fabricpot/control", "fabricpot/control/medium"},
		{"fabricpot/cmd/gateway", "fabricpot/sim/bench"},
		{"fabricpot/cmd/gateway/internal/notify", "text/template/parse"},
	} {
		assert.Empty(t, forbiddenImport(c.from, c.to), "%s → %s", c.from, c.to)
	}
	for _, c := range []struct{ from, file, pkg, recv, name string }{
		{"fabricpot/control", "x.go", "time", "", "Now"},
		{"fabricpot/sim/bench", "x.go", "time", "", "NewTicker"},
		{"fabricpot/valves", "x.go", "time", "", "AfterFunc"},
		{"fabricpot/control/feed", "x.go", "math/rand/v2", "", "Float64"},
		{"fabricpot/sensors", "x.go", "periph.io/x/host/v3", "", "Init"},
		{"fabricpot/cmd/gateway/internal/runner", "x.go", "periph.io/x/host/v3/sysfs", "", "NewI2C"},
		{"fabricpot/cmd/gateway/internal/runner", "x.go", "fabricpot/valves", "fabricpot/valves.Actuator", "Open"},
		{"fabricpot/mqtt", "x.go", "periph.io/x/conn/v3/gpio", "PinOut", "Out"},
		// A pin is a pin by whatever type it is reached.
		{"fabricpot/cmd/gateway/internal/page", "x.go", "periph.io/x/conn/v3/gpio", "periph.io/x/conn/v3/gpio.PinOut", "Out"},
		{"fabricpot/cmd/gateway/internal/page", "x.go", "fabricpot/valves/gpioline", "*fabricpot/valves/gpioline.Line", "Out"},
		{"fabricpot/cmd/gateway/internal/hub", "x.go", "fabricpot/valves/gpioline", "*fabricpot/valves/gpioline.Line", "PWM"},
		{"fabricpot/cmd/gateway", "x.go", "fabricpot/valves/gpioline", "*fabricpot/valves/gpioline.Line", "Out"},
		{"fabricpot/cmd/gateway/internal/page", "x.go", "fabricpot/sim/bench", "*fabricpot/sim/bench.Pin", "Out"},
		{"fabricpot/cmd/gateway/internal/page", "x.go", "fabricpot/cmd/gateway/internal/page", "fabricpot/cmd/gateway/internal/page.outer", "Out"},
		{"fabricpot/cmd/gateway/internal/hub", "x.go", "periph.io/x/host/v3/gpioioctl", "*periph.io/x/host/v3/gpioioctl.LineSet", "Out"},
		{"fabricpot/cmd/gateway/internal/season", "x.go", "fabricpot/sim/bench", "*fabricpot/sim/bench.Pin", "Out"},
		{"fabricpot/cmd/gateway/internal/season", "campaign_far.go", "fabricpot/valves/gpioline", "*fabricpot/valves/gpioline.Line", "Out"},
		{"fabricpot/cmd/gateway/internal/page", "bench.go", "fabricpot/sim/bench", "*fabricpot/sim/bench.Pin", "Out"},
		{"fabricpot/cmd/gateway/internal/page", "x.go", "fabricpot/valves/gpioline", "", "New"},
		{"fabricpot/cmd/gateway", "x.go", "os", "", "Rename"},
		{"fabricpot/cmd/gateway/internal/config", "x.go", "time", "", "LoadLocation"},
	} {
		assert.NotEmpty(t, forbiddenCall(c.from, c.file, c.pkg, c.recv, c.name), "%v", c)
	}
	for _, from := range []string{"page", "hub", "runner", "season"} {
		assert.NotEmpty(t, forbiddenConst("fabricpot/cmd/gateway/internal/"+from, "x.go", "fabricpot/mqtt/topic", "ValveSet"), from)
	}
	assert.Empty(t, forbiddenConst("fabricpot/mqtt/valve", "valve.go", "fabricpot/mqtt/topic", "ValveSet"))
	assert.Empty(t, forbiddenConst("fabricpot/cmd/gateway/internal/hub", "x.go", "fabricpot/mqtt/topic", "ValveState"))
	assert.Empty(t, forbiddenCall("fabricpot/control", "x.go", "time", "time.Time", "After"), "a comparison of two times reads no clock")
	assert.Empty(t, forbiddenCall("fabricpot/sim/terrace", "x.go", "math/rand/v2", "", "New"))
	assert.Empty(t, forbiddenCall("fabricpot/valves", "actuator.go", "periph.io/x/conn/v3/gpio", "periph.io/x/conn/v3/gpio.PinOut", "Out"))
	assert.Empty(t, forbiddenCall("fabricpot/cmd/gateway/internal/season", "campaign_far.go", "fabricpot/sim/bench", "*fabricpot/sim/bench.Pin", "Out"))
	assert.Empty(t, forbiddenCall("fabricpot/cmd/gateway", "board.go", "fabricpot/valves/gpioline", "", "New"))
}

package house

import (
	"flag"
	"go/build"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"sort"
	"strings"
	"testing"

	"github.com/google/licensecheck"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/tools/go/packages"
)

var update = flag.Bool("update", false, "write the list of licences anew")

// licenceList names the licence of every module linked into the program. A
// package carries it together with the texts themselves.
const licenceList = "../../../../systemd/package/licences.txt"

// allowed are the licences a program may carry whose own terms are not yet
// stated: each asks for its notice and for nothing of the program around it.
// SPDX identifiers.
var allowed = map[string]bool{
	"Apache-2.0": true, "BSD-2-Clause": true, "BSD-3-Clause": true, "FTL": true,
	"ISC": true, "MIT": true, "Unlicense": true,
}

// pointed names the file to read where a module's root would mislead: one that
// offers a choice of licences, or one that lists those of its own tests too.
var pointed = map[string]string{
	"github.com/eclipse/paho.mqtt.golang": "edl-v10",          // or EPL-2.0
	"github.com/golang/freetype":          "licenses/ftl.txt", // or GPL-2.0
	"modernc.org/sqlite":                  "LICENSE",
}

// spoken are licence texts that the scanner does not know, by module: read by a
// person, with the sentence that was relied on.
var spoken = map[string]struct{ id, words string }{
	"github.com/golang/freetype": {"FTL", "to use, execute, perform, compile, display, copy, create derivative works of, distribute and sublicense the FreeType Project"},
}

// TestLicences reads the licence files of what the program links and holds them
// against the list, so that a new dependency is a decision and never a surprise.
func TestLicences(t *testing.T) {
	if testing.Short() {
		t.Skip("loads the whole dependency graph")
	}
	var lines []string
	for path, dir := range linkedModules(t) {
		ids := licencesIn(t, path, dir)
		assert.NotEmpty(t, ids, "%s has no licence file that is recognised in %s", path, dir)
		for _, id := range ids {
			assert.True(t, allowed[id], "%s is under %s, which is not among those allowed: use another library, or decide and say why", path, id)
		}
		lines = append(lines, path+" "+strings.Join(ids, " "))
	}
	sort.Strings(lines)
	got := strings.Join(lines, "\n") + "\n"
	if *update {
		require.NoError(t, os.WriteFile(licenceList, []byte(got), 0o644))
	}
	want, err := os.ReadFile(licenceList)
	require.NoError(t, err)
	assert.Equal(t, string(want), got, "dependencies changed: go test ./cmd/gateway/internal/house -run TestLicences -update")
}

// linkedModules is every module of which a package is linked into the program for
// linux, with its folder; "std" stands for Go itself.
func linkedModules(t *testing.T) map[string]string {
	t.Helper()
	pkgs, err := packages.Load(&packages.Config{
		Mode: packages.NeedName | packages.NeedImports | packages.NeedDeps | packages.NeedModule,
		Dir:  "../../../..",
		Env:  append(os.Environ(), "GOOS=linux", "CGO_ENABLED=0"),
	}, "./cmd/gateway")
	require.NoError(t, err)
	found := map[string]string{"std": build.Default.GOROOT}
	packages.Visit(pkgs, nil, func(p *packages.Package) {
		if m := p.Module; m != nil && !m.Main {
			if m.Replace != nil {
				m = m.Replace
			}
			found[p.Module.Path] = m.Dir
		}
	})
	require.Greater(t, len(found), 20, "the program's modules were not found")
	return found
}

// licencesIn is the SPDX identifiers of a module's licence files.
func licencesIn(t *testing.T, path, dir string) []string {
	t.Helper()
	found := map[string]bool{}
	for _, name := range licenceFiles(t, path, dir) {
		text, err := os.ReadFile(filepath.Join(dir, name))
		require.NoError(t, err)
		if s, ok := spoken[path]; ok && strings.Contains(strings.Join(strings.Fields(string(text)), " "), s.words) {
			found[s.id] = true
		}
		for _, m := range licensecheck.Scan(text).Match {
			if !m.IsURL {
				found[m.ID] = true
			}
		}
	}
	return slices.Sorted(maps.Keys(found))
}

func licenceFiles(t *testing.T, path, dir string) []string {
	t.Helper()
	if name := pointed[path]; name != "" {
		return []string{name}
	}
	files, err := os.ReadDir(dir)
	require.NoError(t, err)
	var names []string
	for _, f := range files {
		name := strings.ToUpper(f.Name())
		if !f.IsDir() && (strings.HasPrefix(name, "LICEN") || strings.HasPrefix(name, "COPYING")) {
			names = append(names, f.Name())
		}
	}
	return names
}

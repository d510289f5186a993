package timezone

import (
	"archive/zip"
	"bytes"
	"compress/gzip"
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var update = flag.Bool("update", false, "pack the Go tools' time zones anew")

// theirs is the database of the Go tools in use, a zone by its name. It is IANA's,
// compiled by them (lib/time/update.bash).
func theirs(t *testing.T) map[string][]byte {
	t.Helper()
	root, err := exec.Command("go", "env", "GOROOT").Output()
	require.NoError(t, err)
	z, err := zip.OpenReader(filepath.Join(strings.TrimSpace(string(root)), "lib", "time", "zoneinfo.zip"))
	require.NoError(t, err)
	defer z.Close()
	all := map[string][]byte{}
	for _, f := range z.File {
		if strings.HasSuffix(f.Name, "/") {
			continue
		}
		r, err := f.Open()
		require.NoError(t, err)
		all[f.Name], err = io.ReadAll(r)
		require.NoError(t, err)
	}
	return all
}

// pack writes them as each reads them, like beside like.
func pack(t *testing.T, all map[string][]byte) []byte {
	t.Helper()
	names := map[string][]string{}
	for name, zone := range all {
		names[string(zone)] = append(names[string(zone)], name)
	}
	var zones []string
	for zone := range names {
		zones = append(zones, zone)
	}
	slices.SortFunc(zones, func(a, b string) int {
		return strings.Compare(rule(a)+a, rule(b)+b)
	})
	var b bytes.Buffer
	w, err := gzip.NewWriterLevel(&b, gzip.BestCompression)
	require.NoError(t, err)
	for _, zone := range zones {
		slices.Sort(names[zone])
		_, err := fmt.Fprintf(w, "%s %d\n%s", strings.Join(names[zone], " "), len(zone), zone)
		require.NoError(t, err)
	}
	require.NoError(t, w.Close())
	return b.Bytes()
}

// rule is a zone's last line, which says how it goes on: zones that share it are
// alike (RFC 8536, 3.3).
func rule(zone string) string {
	lines := strings.Split(strings.TrimSuffix(zone, "\n"), "\n")
	return lines[len(lines)-1]
}

// TestAllOfTheirs: the packed database is, to the byte and under the same names,
// what the Go tools bring. Other tools may bring another edition of it.
func TestAllOfTheirs(t *testing.T) {
	want := theirs(t)
	require.Greater(t, len(want), 400, "names in zoneinfo.zip")
	if *update {
		require.NoError(t, os.WriteFile("zones.gz", pack(t, want), 0o644))
		t.Skip("packed anew: run again without -update")
	}
	got := map[string][]byte{}
	require.NoError(t, zones.each(func(names []string, zone []byte) bool {
		for _, name := range names {
			assert.NotContains(t, got, name)
			got[name] = zone
		}
		return true
	}))
	var differ []string
	for name, zone := range want {
		if !bytes.Equal(zone, got[name]) {
			differ = append(differ, name)
		}
		delete(got, name)
	}
	for name := range got {
		differ = append(differ, name)
	}
	if slices.Sort(differ); len(differ) == 0 {
		return
	}
	said := fmt.Sprintf("other than in the Go tools' database: %s; expected theirs: go test ./cmd/gateway/internal/timezone -update", strings.Join(differ, " "))
	if os.Getenv("GATEWAY_CI") != "1" {
		t.Skip(said)
	}
	t.Error(said)
}

// TestOursTellsTheTime: offsets that laws and treaties fix, from the tz database's
// own prose (its files europe, asia and northamerica): the European Union changes
// at 01:00 UTC on the last Sundays of March and October since 1996, Nepal is at
// +05:45 since 1986, and the United States change at 02:00 on the second Sunday of
// March and the first of November since 2007.
func TestOursTellsTheTime(t *testing.T) {
	for _, c := range []struct {
		zone, at string
		seconds  int
	}{
		{"Europe/Athens", "2026-03-29T00:59:59Z", 2 * 3600},
		{"Europe/Athens", "2026-03-29T01:00:00Z", 3 * 3600},
		{"Europe/Athens", "2026-10-25T00:59:59Z", 3 * 3600},
		{"Europe/Athens", "2026-10-25T01:00:00Z", 2 * 3600},
		{"Asia/Kathmandu", "2026-07-01T00:00:00Z", 5*3600 + 45*60},
		{"America/New_York", "2026-03-08T06:59:59Z", -5 * 3600},
		{"America/New_York", "2026-03-08T07:00:00Z", -4 * 3600},
		// The furthest a rule of the last line is asked.
		{"America/New_York", "2199-07-01T00:00:00Z", -4 * 3600},
	} {
		zone, err := zones.zone(c.zone)
		require.NoError(t, err)
		at, err := time.Parse(time.RFC3339, c.at)
		require.NoError(t, err)
		_, offset := at.In(zone).Zone()
		assert.Equal(t, c.seconds, offset, "%s at %s", c.zone, c.at)
		assert.Equal(t, c.zone, zone.String())
	}
}

// TestLoad: a name that the system's database may lack, and names that nobody has.
func TestLoad(t *testing.T) {
	for _, name := range []string{"Europe/Athens", "US/Pacific", "UTC"} {
		zone, err := Load(name)
		require.NoError(t, err)
		assert.Equal(t, name, zone.String())
	}
	for _, name := range []string{"Europe/Atlantis", "../Europe/Athens", "europe/athens", "Europe/Athens 607", "607", "Europe", " "} {
		_, err := Load(name)
		assert.Error(t, err, name)
		_, err = zones.zone(name)
		assert.Error(t, err, name)
	}
}

// TestLocal: what the system found holds; where it found nothing, ours is asked.
func TestLocal(t *testing.T) {
	tokyo, err := zones.zone("Asia/Tokyo")
	require.NoError(t, err)
	assert.Same(t, tokyo, local("Europe/Athens", tokyo))
	for _, tz := range []string{"", ":", "UTC", ":UTC", "/etc/localtime", "Europe/Atlantis"} {
		assert.Same(t, time.UTC, local(tz, time.UTC), tz)
	}
	for _, tz := range []string{"Europe/Athens", ":Europe/Athens"} {
		assert.Equal(t, "Europe/Athens", local(tz, time.UTC).String())
	}
}

// TestBrokenDatabase: a program that was damaged says so and doesn't panic.
func TestBrokenDatabase(t *testing.T) {
	packed := func(text string) database {
		var b bytes.Buffer
		w := gzip.NewWriter(&b)
		_, err := w.Write([]byte(text))
		require.NoError(t, err)
		require.NoError(t, w.Close())
		return b.Bytes()
	}
	for name, d := range map[string]database{
		"empty": nil, "half": zones[:len(zones)/2], "not packed": database("Europe/Athens 607\n"),
		"no line": packed("Europe/Athens"), "an empty line": packed("\n"), "no length": packed("Europe/Athens Asia/Nicosia\n"),
		"too short": packed("Europe/Athens 607\nTZif"),
	} {
		_, err := d.zone("Europe/Atlantis")
		assert.ErrorContains(t, err, "the program's time zones", name)
	}
}

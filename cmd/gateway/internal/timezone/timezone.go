// Package timezone finds the zones of the IANA time zone database by name, on
// boards too that have none of it: the database travels with the program. The
// standard library has a copy for that, but a plain one of nearly half a megabyte.
// Most zones are alike, or one under several names, so that packed as one piece
// they are an eighth.
package timezone

import (
	"bufio"
	"bytes"
	"compress/gzip"
	_ "embed"
	"fmt"
	"io"
	"os"
	"slices"
	"strconv"
	"strings"
	"time"
)

// database is a zone after the other, packed as one: a line with its names and its
// length in bytes, and then the zone as RFC 8536 has it.
type database []byte

// zones are all that come with the Go tools (lib/time/zoneinfo.zip). A test holds
// them against theirs, and writes them anew:
// go test ./cmd/gateway/internal/timezone -update
//
//go:embed zones.gz
var zones database

// Load is the zone of that name, Europe/Athens. The system's own database comes
// first, for it is the one that is kept up to date; what that lacks is taken from
// the program's. The error is for a name that neither has.
func Load(name string) (*time.Location, error) {
	zone, err := time.LoadLocation(name)
	if err == nil {
		return zone, nil
	}
	if zone, packed := zones.zone(name); packed == nil {
		return zone, nil
	}
	return nil, err
}

// Local is the zone of the machine: time.Local, or the one that TZ names where
// the system has no database to look it up in.
func Local() *time.Location {
	return local(os.Getenv("TZ"), time.Local)
}

// local knows by its name that a system found nothing: it is then called UTC, and
// else what TZ says or Local (package time, initLocal).
func local(tz string, system *time.Location) *time.Location {
	name := strings.TrimPrefix(tz, ":")
	if name == "" || name == "UTC" || system.String() != "UTC" {
		return system
	}
	if zone, err := zones.zone(name); err == nil {
		return zone
	}
	return system
}

// zone is the one of that name, called so.
func (d database) zone(name string) (*time.Location, error) {
	var found []byte
	err := d.each(func(names []string, zone []byte) bool {
		if slices.Contains(names, name) {
			found = zone
		}
		return found == nil
	})
	if err != nil {
		return nil, fmt.Errorf("the program's time zones: %w", err)
	}
	if found == nil {
		return nil, fmt.Errorf("time zone %q: not among the program's", name)
	}
	return time.LoadLocationFromTZData(name, found)
}

// each goes through the zones until see has seen enough.
func (d database) each(see func(names []string, zone []byte) bool) error {
	z, err := gzip.NewReader(bytes.NewReader(d))
	if err != nil {
		return err
	}
	r := bufio.NewReader(z)
	for {
		head, err := r.ReadString('\n')
		if err == io.EOF && head == "" {
			return nil
		}
		if err != nil {
			return err
		}
		names := strings.Fields(head)
		if len(names) < 2 {
			return fmt.Errorf("%q: expected names and a length", head)
		}
		last := len(names) - 1
		n, err := strconv.ParseUint(names[last], 10, 16)
		if err != nil {
			return err
		}
		zone := make([]byte, n)
		if _, err := io.ReadFull(r, zone); err != nil {
			return err
		}
		if !see(names[:last], zone) {
			return nil
		}
	}
}

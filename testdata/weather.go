package testdata

import (
	"compress/gzip"
	"embed"
	"fmt"
	"io"
)

// The weather of weather/README.md, for trials that must run on any machine. In
// the program it is packed: plain it would be a third of a percent of it.
//
//go:generate sh -c "gzip -9nkf weather/*.csv"
//go:embed weather/*.csv.gz
var weather embed.FS

// Weather is a table of weather/README.md by its file's name, seattle-weather.csv.
func Weather(name string) ([]byte, error) {
	f, err := weather.Open("weather/" + name + ".gz")
	if err != nil {
		return nil, fmt.Errorf("weather %q: %w", name, err)
	}
	defer f.Close()
	z, err := gzip.NewReader(f)
	if err != nil {
		return nil, fmt.Errorf("weather %q: %w", name, err)
	}
	b, err := io.ReadAll(z)
	if err != nil {
		return nil, fmt.Errorf("weather %q: %w", name, err)
	}
	return b, nil
}

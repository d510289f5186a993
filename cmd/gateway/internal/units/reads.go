package units

import (
	"io"
	"regexp"
	"strconv"
	"strings"
)

// Reads is how people want to read what the gateway says; the zero value is litres and °C.
type Reads struct {
	Gallons    bool `json:"gallons,omitempty"`
	Fahrenheit bool `json:"fahrenheit,omitempty"`
}

// ReadsAs is how whoever wrote those values reads: in gallons where each volume and flow
// among them is in gallons, in °F where each temperature is.
func ReadsAs(written map[string]string) Reads {
	var gal, litre, f, c bool
	for _, text := range written {
		_, name, err := Number(text)
		if name = strings.TrimSpace(name); err != nil || name == "" {
			continue
		}
		if _, ok := Temperature().unit(name); ok {
			f, c = f || name != "°C" && name != "C" && name != "℃", c || name == "°C" || name == "C" || name == "℃"
		}
		_, volume := Volume().unit(name)
		_, flow := Flow().unit(name)
		if volume || flow {
			imperial := name[0] == 'g' || name[0] == 'G'
			gal, litre = gal || imperial, litre || !imperial
		}
	}
	return Reads{Gallons: gal && !litre, Fahrenheit: f && !c}
}

// VolumeUnit is the unit of volumes.
func (r Reads) VolumeUnit() string {
	if r.Gallons {
		return "gal"
	}
	return "L"
}

// Figure is litres or L/h as a bare figure of a table, in gallons with one digit more.
func (r Reads) Figure(litres float64, digits int) string {
	if r.Gallons {
		litres, digits = litres/litresPerGallon, digits+1
	}
	return strconv.FormatFloat(litres, 'f', digits, 64)
}

// measured finds litres, flows and temperatures in words that think in litres and °C.
var measured = regexp.MustCompile(`(-?\d+(?:\.\d+)?)[ \x{00a0}](L/h|L\b|°C)`)

// Words writes such a sentence as it is to be read.
func (r Reads) Words(text string) string {
	if r == (Reads{}) {
		return text
	}
	return measured.ReplaceAllStringFunc(text, func(s string) string {
		m := measured.FindStringSubmatch(s)
		x, err := strconv.ParseFloat(m[1], 64)
		if err != nil {
			return s
		}
		switch {
		case m[2] == "°C" && r.Fahrenheit:
			return Temperature().Format(x, "°F", 0)
		case m[2] == "L" && r.Gallons:
			return Volume().Format(x, "gal", Decimals(x/3.8))
		case m[2] == "L/h" && r.Gallons:
			return Flow().Format(x, "gal/h", Decimals(x/3.8))
		}
		return s
	})
}

// To has what is written to w sentence by sentence written as it is to be read.
func (r Reads) To(w io.Writer) io.Writer {
	if r == (Reads{}) {
		return w
	}
	return readWriter{w, r}
}

type readWriter struct {
	w io.Writer
	r Reads
}

func (rw readWriter) Write(b []byte) (int, error) {
	if _, err := io.WriteString(rw.w, rw.r.Words(string(b))); err != nil {
		return 0, err
	}
	return len(b), nil
}

// Decimals is how many a figure of that size is told with.
func Decimals(x float64) int {
	switch {
	case x >= 20 || x <= -20:
		return 0
	case x >= 1 || x <= -1:
		return 1
	}
	return 2
}

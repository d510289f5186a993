package page

import (
	"net/http"
	"strings"

	"fabricpot/cmd/gateway/internal/units"
)

// prefs are how one browser wants to read. They live in a cookie.
type prefs struct {
	gallons, fahrenheit bool
	// tone is "", "light" or "dark"; empty follows the device.
	tone string
}

const prefsCookie = "fabricpot-look"

func prefsOf(r *http.Request) prefs {
	c, err := r.Cookie(prefsCookie)
	if err != nil {
		return prefs{}
	}
	return parsePrefs(c.Value)
}

// parsePrefs reads "gal.F.dark"; what it does not know is left at the default.
func parsePrefs(s string) prefs {
	var p prefs
	for _, word := range strings.SplitN(s, ".", 4) {
		switch word {
		case "gal":
			p.gallons = true
		case "F":
			p.fahrenheit = true
		case "light", "dark":
			p.tone = word
		}
	}
	return p
}

func (p prefs) String() string {
	words := []string{"L", "C", "auto"}
	if p.gallons {
		words[0] = "gal"
	}
	if p.fahrenheit {
		words[1] = "F"
	}
	if p.tone != "" {
		words[2] = p.tone
	}
	return strings.Join(words, ".")
}

// volumeUnit is the unit that volumes are shown and taken in.
func (p prefs) volumeUnit() string {
	if p.gallons {
		return "gal"
	}
	return "L"
}

// volume writes litres as this browser reads them.
func (p prefs) volume(litres float64) string {
	shown, _ := units.Volume().In(litres, p.volumeUnit())
	return together(units.Volume().Format(litres, p.volumeUnit(), min(1, units.Decimals(shown))))
}

// apart is a space that no line is broken at.
const apart = "\u00a0"

// together keeps a number and its unit on one line.
func together(s string) string { return strings.Replace(s, " ", apart, 1) }

// temp writes °C as this browser reads it.
func (p prefs) temp(c float64) string {
	if p.fahrenheit {
		return together(units.Temperature().Format(c, "°F", 0))
	}
	return together(units.Temperature().Format(c, "°C", 0))
}

// length writes centimetres as this browser reads them: who thinks in gallons
// thinks in inches.
func (p prefs) length(cm float64) string {
	if p.gallons {
		return together(units.Length().Format(cm, "in", 0))
	}
	return together(units.Length().Format(cm, "cm", 0))
}

func (p *Page) settings(w http.ResponseWriter, r *http.Request, v *visit) {
	for name, allowed := range map[string]string{"volume": "L gal", "degrees": "C F", "tone": "auto light dark"} {
		if got := r.PostForm.Get(name); got == "" || !containsWord(allowed, got) {
			p.refuse(w, r, v, fault{http.StatusBadRequest, tErrChoice, tErrChoiceTx, "/health", tBack})
			return
		}
	}
	want := parsePrefs(r.PostForm.Get("volume") + "." + r.PostForm.Get("degrees") + "." + r.PostForm.Get("tone"))
	http.SetCookie(w, &http.Cookie{
		Name: prefsCookie, Value: want.String(), Path: "/", HttpOnly: true, Secure: r.TLS != nil,
		SameSite: http.SameSiteLaxMode, MaxAge: 400 * 24 * 3600,
	})
	p.done(w, r, "/health", tSaved)
}

func containsWord(list, word string) bool {
	for _, w := range strings.Fields(list) {
		if w == word {
			return true
		}
	}
	return false
}

func degreesKey(v *visit) string {
	if v.fahrenheit {
		return "F"
	}
	return "C"
}

func toneKey(v *visit) string {
	if v.tone == "" {
		return "auto"
	}
	return v.tone
}

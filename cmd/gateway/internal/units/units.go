// Package units is the edge where people's units become SI and back: litres and
// US gallons, centimetres and inches, °C and °F. Inside the gateway only the SI
// value travels; the garden file, the page and the commands come here.
//
// A Quantity lists the units that fit one kind of value. Parse wants a number
// and one of them ("75 L", "20 gal"): a bare number is refused, because 20 may
// be litres to one reader and gallons to the next.
package units

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Unit is one unit of a quantity: SI value = (number + Before) × Factor.
type Unit struct {
	// Name is how it is written back; Also are other spellings.
	Name   string
	Also   []string
	Factor float64
	Before float64
}

// Quantity is a kind of value and the units it may be written in. The first
// unit is the one the gateway keeps inside.
type Quantity struct {
	// Name with its article, "a volume".
	Name  string
	Units []Unit
	// Example is a value as a gardener would write it.
	Example string
}

// Error says what is wrong with a written value and what would be right.
type Error struct{ What, Expected string }

func (e *Error) Error() string { return e.What + ", expected " + e.Expected }

// Parse reads a number with its unit and returns it in the quantity's first
// unit. The error is always an *Error.
func (q Quantity) Parse(text string) (float64, error) {
	v, rest, err := Number(text)
	if err != nil {
		return 0, &Error{err.Error(), q.Wants()}
	}
	name := strings.TrimSpace(rest)
	if name == "" {
		return 0, &Error{"no unit", q.Wants()}
	}
	u, ok := q.unit(name)
	if !ok {
		return 0, &Error{fmt.Sprintf("unknown unit %q", clip(name)), q.Wants()}
	}
	v = u.scale(v + u.Before)
	if math.IsInf(v, 0) || math.IsNaN(v) {
		return 0, &Error{"too large a number", q.Wants()}
	}
	return v, nil
}

// Wants says in words what Parse takes.
func (q Quantity) Wants() string {
	names := make([]string, len(q.Units))
	for i, u := range q.Units {
		names[i] = u.Name
	}
	return fmt.Sprintf("%s in %s, such as %s", q.Name, either(names), q.Example)
}

// In converts an SI value into the named unit of the quantity.
func (q Quantity) In(si float64, name string) (float64, bool) {
	u, ok := q.unit(name)
	if !ok {
		return 0, false
	}
	return si/u.Factor - u.Before, true
}

// Format writes an SI value in the named unit with up to digits decimals.
func (q Quantity) Format(si float64, name string, digits int) string {
	v, ok := q.In(si, name)
	if !ok {
		v, name = si, q.Units[0].Name
	}
	s := strconv.FormatFloat(v, 'f', digits, 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	if s == "-0" {
		s = "0"
	}
	return s + " " + name
}

// scale multiplies by the factor; a factor such as 0.01 divides by 100 instead,
// so that 70 % is the number 0.7 and not its neighbour.
func (u Unit) scale(v float64) float64 {
	if inverse := math.Round(1 / u.Factor); inverse > 1 && 1/inverse == u.Factor {
		return v / inverse
	}
	return v * u.Factor
}

func (q Quantity) unit(name string) (Unit, bool) {
	for _, u := range q.Units {
		if name == u.Name {
			return u, true
		}
		for _, a := range u.Also {
			if name == a {
				return u, true
			}
		}
	}
	return Unit{}, false
}

// Number splits text into a plain decimal number and what follows it. It takes
// no NaN, no infinity, no hexadecimal, no thousands separators.
func Number(text string) (v float64, rest string, err error) {
	s := strings.TrimSpace(text)
	i := 0
	if i < len(s) && (s[i] == '+' || s[i] == '-') {
		i++
	}
	whole := digits(s[i:])
	i += whole
	frac := 0
	if i < len(s) && s[i] == '.' {
		frac = digits(s[i+1:])
		if frac > 0 {
			i += 1 + frac
		}
	}
	if whole+frac == 0 {
		return 0, "", fmt.Errorf("not a number")
	}
	if i < len(s) && (s[i] == 'e' || s[i] == 'E') {
		j := i + 1
		if j < len(s) && (s[j] == '+' || s[j] == '-') {
			j++
		}
		if n := digits(s[j:]); n > 0 {
			i = j + n
		}
	}
	rest = s[i:]
	if len(rest) > 1 && rest[0] == ',' && digits(rest[1:]) > 0 {
		return 0, "", fmt.Errorf("a comma in a number (write a decimal point)")
	}
	if i > 40 {
		return 0, "", fmt.Errorf("too long a number")
	}
	v, perr := strconv.ParseFloat(s[:i], 64)
	if perr != nil || math.IsInf(v, 0) || math.IsNaN(v) {
		return 0, "", fmt.Errorf("too large a number")
	}
	return v, rest, nil
}

func digits(s string) int {
	n := 0
	for n < len(s) && s[n] >= '0' && s[n] <= '9' {
		n++
	}
	return n
}

func either(names []string) string {
	if len(names) == 1 {
		return names[0]
	}
	return strings.Join(names[:len(names)-1], ", ") + " or " + names[len(names)-1]
}

func clip(s string) string {
	r := []rune(s)
	if len(r) > 24 {
		return string(r[:24]) + "…"
	}
	return s
}

package topic

import (
	"strings"
	"unicode/utf8"
)

// MaxLen is the longest topic or filter accepted, bytes. MQTT 3.1.1 allows
// 65535 (section 1.5.3); nothing of ours comes near 512.
const MaxLen = 512

// ValidName reports whether s can be published on: not empty, at most MaxLen,
// UTF-8 without NUL or other control characters, no wildcard, and not under $
// (MQTT 3.1.1, sections 1.5.3 and 4.7).
func ValidName(s string) bool {
	return valid(s) && !strings.ContainsAny(s, "+#")
}

// ValidFilter reports whether s can be subscribed to: "+" alone in a level, "#"
// alone in the last one (MQTT 3.1.1, section 4.7.1).
func ValidFilter(s string) bool {
	if !valid(s) {
		return false
	}
	levels := strings.Split(s, "/")
	for i, l := range levels {
		if strings.ContainsAny(l, "+#") && len(l) > 1 {
			return false
		}
		if l == "#" && i != len(levels)-1 {
			return false
		}
	}
	return true
}

func valid(s string) bool {
	if s == "" || len(s) > MaxLen || s[0] == '$' || !utf8.ValidString(s) {
		return false
	}
	for _, r := range s {
		if r < 0x20 || r >= 0x7f && r < 0xa0 {
			return false
		}
	}
	return true
}

// Match reports whether the topic name matches the filter (MQTT 3.1.1, section
// 4.7). Both must be valid. It allocates nothing.
func Match(filter, name string) bool {
	for {
		f, frest, fmore := strings.Cut(filter, "/")
		if f == "#" {
			return true
		}
		n, nrest, nmore := strings.Cut(name, "/")
		if f != "+" && f != n {
			return false
		}
		switch {
		case !fmore && !nmore:
			return true
		case !nmore:
			// "a/#" also matches "a".
			return frest == "#"
		case !fmore:
			return false
		}
		filter, name = frest, nrest
	}
}

// Covers reports whether everything that filter inner can match is also matched
// by filter outer. Rights are granted as filters, and a subscription is allowed
// only where a granted filter covers it.
func Covers(outer, inner string) bool {
	for {
		o, orest, omore := strings.Cut(outer, "/")
		if o == "#" {
			return true
		}
		i, irest, imore := strings.Cut(inner, "/")
		if i == "#" || i == "+" && o != "+" || o != "+" && o != i {
			return false
		}
		switch {
		case !omore && !imore:
			return true
		case !imore:
			return orest == "#"
		case !omore:
			return false
		}
		outer, inner = orest, irest
	}
}

// Overlaps reports whether any topic name matches both filters. Both must be
// valid.
func Overlaps(a, b string) bool {
	for {
		x, xrest, xmore := strings.Cut(a, "/")
		y, yrest, ymore := strings.Cut(b, "/")
		switch {
		case x == "#" || y == "#":
			return true
		case x != "+" && y != "+" && x != y:
			return false
		case !xmore && !ymore:
			return true
		case !xmore:
			return yrest == "#"
		case !ymore:
			return xrest == "#"
		}
		a, b = xrest, yrest
	}
}

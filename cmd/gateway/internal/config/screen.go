package config

import (
	"bytes"
	"fmt"
	"unicode"
	"unicode/utf8"

	"github.com/goccy/go-yaml/token"
)

// What the YAML parser is never shown. It accepts NUL, is slow on deep nesting
// and quadratic in the number of keys side by side, so each has a bound that a
// real garden stays far under. The lexer in front of it is linear.
const (
	maxBytes      = 1 << 20
	maxNesting    = 16     // brackets in brackets
	maxIndent     = 64     // columns; bounds nesting by indentation
	maxDashes     = 4      // "- - - x" on one line
	maxSideBySide = 2000   // lines at one indentation under one parent
	maxTokens     = 60_000 // punctuation and values in all
	maxCommas     = 500    // in one bracketed value
)

// fault is a problem before it has a file and a path.
type fault struct {
	at                    place
	what, found, expected string
}

// screenBytes normalises line ends, drops a byte order mark and refuses what is
// no text. It reports the first thing only: what follows a stray byte is not
// worth judging.
func screenBytes(src []byte) ([]byte, *fault) {
	if len(src) > maxBytes {
		return nil, &fault{place{1, 1}, "too large a file", "", fmt.Sprintf("at most %d bytes", maxBytes)}
	}
	src = bytes.TrimPrefix(src, []byte("\ufeff"))
	src = bytes.ReplaceAll(src, []byte("\r\n"), []byte("\n"))
	at := place{1, 1}
	for i := 0; i < len(src); {
		r, size := utf8.DecodeRune(src[i:])
		switch {
		case r == utf8.RuneError && size == 1:
			return nil, stray(at, fmt.Sprintf("byte 0x%02X", src[i]))
		case r == '\n':
			at.line, at.column = at.line+1, 0
		case r == '\t':
		case unicode.IsControl(r), invisible(r):
			return nil, stray(at, fmt.Sprintf("U+%04X", r))
		}
		at.column++
		i += size
	}
	return src, nil
}

func stray(at place, found string) *fault {
	return &fault{at, "a character that has no place in a garden file", found, "printable UTF-8 text"}
}

// invisible runes break lines or turn the writing direction unseen.
func invisible(r rune) bool {
	return r == '\u2028' || r == '\u2029' || r == '\ufeff' ||
		(r >= '\u202a' && r <= '\u202e') || (r >= '\u2066' && r <= '\u2069')
}

// screenTokens refuses YAML that a garden file does not use and amounts that
// would keep the parser busy.
func screenTokens(tokens token.Tokens) []fault {
	var faults []fault
	add := func(t *token.Token, what, found, expected string) {
		faults = append(faults, fault{at(t), what, found, expected})
	}
	var (
		lines   [maxIndent + 2]int // lines begun at each column since a shallower one
		line    int
		dashes  int
		open    int
		commas  int
		content bool
	)
	if len(tokens) > maxTokens {
		add(tokens[0], "too many keys and values", fmt.Sprintf("%d", len(tokens)), fmt.Sprintf("at most %d: a smaller garden, or several gateways", maxTokens))
		return faults
	}
	for _, t := range tokens {
		if t.Type == token.CommentType {
			continue
		}
		if t.Position.Line != line && open == 0 {
			line, dashes = t.Position.Line, 0
			column := t.Position.Column
			if column > maxIndent {
				add(t, "too deep an indentation", fmt.Sprintf("%d columns", column), fmt.Sprintf("at most %d", maxIndent))
				return faults
			}
			clear(lines[column+1:])
			if lines[column]++; lines[column] > maxSideBySide {
				add(t, "too many lines side by side", fmt.Sprintf("more than %d", maxSideBySide), "a smaller garden, or several gateways")
				return faults
			}
		}
		switch t.Type {
		case token.SequenceEntryType:
			if dashes++; dashes > maxDashes {
				add(t, "too many lists in lists", fmt.Sprintf("%d on one line", dashes), fmt.Sprintf("at most %d", maxDashes))
				return faults
			}
		case token.SequenceStartType, token.MappingStartType:
			if open++; open > maxNesting {
				add(t, "too many brackets in brackets", fmt.Sprintf("%d open", open), fmt.Sprintf("at most %d", maxNesting))
				return faults
			}
		case token.SequenceEndType, token.MappingEndType:
			if open = max(0, open-1); open == 0 {
				commas = 0
			}
		case token.CollectEntryType:
			if commas++; commas > maxCommas {
				add(t, "too long a bracketed value", fmt.Sprintf("%d commas", commas), fmt.Sprintf("at most %d: write it as a list, one item a line", maxCommas))
				return faults
			}
		case token.AnchorType, token.AliasType, token.MergeKeyType:
			add(t, "anchors and aliases are not used in a garden file", fmt.Sprintf("%q", t.Value), "the value itself")
		case token.TagType, token.DirectiveType:
			add(t, "tags and directives are not used in a garden file", fmt.Sprintf("%q", t.Value), "the value itself")
		case token.MappingKeyType:
			add(t, "composed keys are not used in a garden file", `"?"`, "KEY: VALUE")
		case token.DocumentHeaderType:
			if content {
				add(t, "a second document", `"---"`, "one garden in a file")
			}
		}
		content = content || t.Type != token.DocumentHeaderType
		if len(faults) > maxShown {
			return faults
		}
	}
	return faults
}

func at(t *token.Token) place { return place{t.Position.Line, t.Position.Column} }

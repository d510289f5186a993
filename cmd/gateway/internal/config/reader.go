package config

import (
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"github.com/goccy/go-yaml/ast"

	"fabricpot/cmd/gateway/internal/units"
)

// reader walks the syntax tree, fills places and collects problems.
type reader struct {
	src      *Source
	problems Problems
	// unsound are the paths something is wrong at, so that a check does not
	// complain a second time about what could not be read.
	unsound map[string]bool
	// dropped is set where something lost its name, so that references to it
	// are not called unknown; clashed are zones that lost theirs to another.
	dropped bool
	clashed map[string]bool
	// written are the values as they stand in the file, by path.
	written map[string]string
}

// pair is one key of a mapping with its value.
type pair struct {
	key   string
	at    place
	value ast.Node
}

func (r *reader) say(path, what, found, expected string) {
	line, column := r.src.Position(path)
	r.sayAt(place{line, column}, path, what, r.asWritten(path, found), expected)
}

// asWritten adds to a figure what was written, where that is another: its unit may be.
func (r *reader) asWritten(path, found string) string {
	text := strings.TrimSpace(r.written[path])
	if found == text || !isFigure(found) || !isFigure(text) {
		return found
	}
	return found + ", written " + quote(text)
}

func (r *reader) sayAt(at place, path, what, found, expected string) {
	r.spoil(path)
	r.problems = append(r.problems, Problem{
		File: r.src.Name, Line: at.line, Column: at.column, Path: path,
		What: what, Found: found, Expected: expected,
	})
}

// spoil marks a path and what it is part of as not to be judged further.
func (r *reader) spoil(path string) {
	for p := path; p != "" && !r.unsound[p]; {
		r.unsound[p] = true
		p = p[:max(0, strings.LastIndexByte(p, '.'))]
	}
}

func (r *reader) warn(path, what, found, expected string) {
	line, column := r.src.Position(path)
	r.src.Warnings = append(r.src.Warnings, Problem{
		File: r.src.Name, Line: line, Column: column, Path: path,
		What: what, Found: r.asWritten(path, found), Expected: expected, Warning: true,
	})
}

// sound reports whether all of the paths were written and nothing is wrong at
// them or under them.
func (r *reader) sound(paths ...string) bool {
	for _, p := range paths {
		if !r.src.given(p) || r.unsound[p] {
			return false
		}
	}
	return true
}

// mapping returns the pairs of a mapping in file order.
func (r *reader) mapping(n ast.Node, path, what string) ([]pair, bool) {
	var values []*ast.MappingValueNode
	switch n := n.(type) {
	case *ast.MappingNode:
		values = n.Values
	case *ast.MappingValueNode:
		values = []*ast.MappingValueNode{n}
	default:
		r.wrongType(n, path, what+" as KEY: VALUE lines")
		return nil, false
	}
	out := make([]pair, 0, len(values))
	for _, v := range values {
		key, ok := scalarText(v.Key)
		if !ok {
			r.sayAt(start(v.Key), path, "not a key", describe(v.Key), "a plain word")
			continue
		}
		if len(out) > 0 && empty(v.Value) && endsSplit(out[len(out)-1].value, key) {
			was := &out[len(out)-1]
			text, _ := scalarText(was.value)
			was.value = &ast.StringNode{BaseNode: &ast.BaseNode{}, Token: was.value.GetToken(), Value: text + "," + key}
			continue
		}
		out = append(out, pair{key, start(v.Key), v.Value})
	}
	return out, true
}

// endsSplit tells that a key without a value is the rest of the value before it: within
// braces the comma of "0,5 L" ends a value. What reads it then says so.
func endsSplit(before ast.Node, key string) bool {
	text, ok := scalarText(before)
	return ok && text != "" && key != "" && isDigit(text[len(text)-1]) && isDigit(key[0])
}

// isFigure tells that a text begins with a number.
func isFigure(s string) bool {
	s = strings.TrimLeft(s, "+-.")
	return s != "" && isDigit(s[0])
}

func isDigit(c byte) bool { return c >= '0' && c <= '9' }

// enter notes where a pair stands. It refuses a key that was there already and
// one without a value.
func (r *reader) enter(e pair, path string) bool {
	p := join(path, e.key)
	if first, twice := r.src.places[p]; twice {
		r.dropped = true
		r.sayAt(e.at, p, "given twice", fmt.Sprintf("first on line %d", first.line), "one of the two")
		return false
	}
	r.src.places[p] = e.at
	if empty(e.value) {
		r.say(p, "nothing there", "", "a value, or no such key at all")
		return false
	}
	if text, ok := scalarText(e.value); ok {
		r.src.places[p] = start(e.value)
		if r.written == nil {
			r.written = map[string]string{}
		}
		r.written[p] = text
	}
	return true
}

// unknownKey returns the key that was probably meant, or "".
func (r *reader) unknownKey(e pair, path, what string, known []string) string {
	near, expected := nearest(e.key, known), "one of "+strings.Join(known, ", ")
	if near != "" {
		expected = strconv.Quote(near)
	}
	r.sayAt(e.at, path, "unknown key of "+what, quote(e.key), expected)
	return near
}

func (r *reader) missing(path, key, doc string) {
	r.say(path, fmt.Sprintf("no %q", key), "", key+": "+doc)
	r.unsound[join(path, key)] = true
}

func (r *reader) wrongType(n ast.Node, path, wants string) {
	r.say(path, "the wrong kind of value", describe(n), wants)
}

// refuse reports a value that could not be understood; found is how it is shown.
func (r *reader) refuse(path string, err error, found, wants string) {
	var u *units.Error
	if errors.As(err, &u) {
		r.say(path, u.What, found, u.Expected)
		return
	}
	r.say(path, err.Error(), found, wants)
}

// text is the scalar as written, without quotes and outer space.
func (r *reader) text(n ast.Node, path, wants string) (string, bool) {
	s, ok := scalarText(n)
	if !ok {
		r.wrongType(n, path, wants)
		return "", false
	}
	// No-break spaces between number and unit come from word processors.
	s = strings.Map(func(c rune) rune {
		if c == '\u00a0' || c == '\u202f' || c == '\u2009' {
			return ' '
		}
		return c
	}, s)
	return strings.TrimSpace(s), true
}

// scalarText returns what the token says; the parser's own idea of numbers is
// not used, so that 0x48/0, 06:30 and 1e3 mean what they look like.
func scalarText(n ast.Node) (string, bool) {
	switch n := n.(type) {
	case *ast.StringNode:
		return n.Value, true
	case *ast.LiteralNode:
		return n.Value.Value, true
	case *ast.IntegerNode, *ast.FloatNode, *ast.BoolNode, *ast.NanNode, *ast.InfinityNode:
		return n.GetToken().Value, true
	case *ast.NullNode:
		// A written null or ~; an empty value is caught before.
		return n.GetToken().Value, n.GetToken().Value != ""
	}
	return "", false
}

func empty(n ast.Node) bool {
	if n == nil {
		return true
	}
	_, null := n.(*ast.NullNode)
	return null
}

func isMapping(n ast.Node) bool {
	switch n.(type) {
	case *ast.MappingNode, *ast.MappingValueNode:
		return true
	}
	return false
}

// start is where a node begins: for a block mapping at its first key, not at
// the colon the parser points to.
func start(n ast.Node) place {
	switch v := n.(type) {
	case nil:
		return place{1, 1}
	case *ast.MappingNode:
		if !v.IsFlowStyle && len(v.Values) > 0 {
			return start(v.Values[0].Key)
		}
	case *ast.MappingValueNode:
		return start(v.Key)
	}
	if t := n.GetToken(); t != nil && t.Position != nil {
		return at(t)
	}
	return place{1, 1}
}

// describe says what a node is, for people.
func describe(n ast.Node) string {
	switch n.(type) {
	case *ast.MappingNode, *ast.MappingValueNode:
		return "KEY: VALUE lines"
	case *ast.SequenceNode:
		return "a list"
	}
	if s, ok := scalarText(n); ok {
		return quote(s)
	}
	return "something else"
}

// quote is a text as it is said to be found, without user and password where it
// is an address.
func quote(s string) string {
	s = regexp.MustCompile(`(://)\S*@`).ReplaceAllString(s, "${1}…@")
	if r := []rune(s); len(r) > 40 {
		s = string(r[:40]) + "…"
	}
	return strconv.Quote(s)
}

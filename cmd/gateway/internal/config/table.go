package config

import (
	"fmt"
	"strings"

	"github.com/goccy/go-yaml/ast"

	"fabricpot/control/garden"
)

// kind is what may stand at one place of the file and where it goes in what a P
// points to. P is a pointer type: the compiler makes the code of a generic
// function once for all of those, but anew for each struct.
type kind[P any] interface {
	read(r *reader, n ast.Node, path string, into P)
	// schema describes it in JSON Schema's words.
	schema() map[string]any
}

// field is one key of a mapping.
type field[P any] struct {
	key  string
	doc  string
	need bool
	kind kind[P]
}

// object is a mapping with known keys. what names it with its article.
type object[P any] struct {
	what   string
	fields []field[P]
}

func (o object[P]) keys() []string {
	out := make([]string, len(o.fields))
	for i, f := range o.fields {
		out[i] = f.key
	}
	return out
}

func (o object[P]) read(r *reader, n ast.Node, path string, into P) {
	entries, ok := r.mapping(n, path, o.what)
	if !ok {
		return
	}
	meant := map[string]bool{}
	for _, e := range entries {
		f, known := o.field(e.key)
		if !known {
			meant[r.unknownKey(e, path, o.what, o.keys())] = true
			continue
		}
		if r.enter(e, path) {
			f.kind.read(r, e.value, join(path, e.key), into)
		}
	}
	for _, f := range o.fields {
		switch p := join(path, f.key); {
		case meant[f.key]:
			// The misspelt key was reported; do not also miss this one.
			r.unsound[p] = true
		case f.need && !r.src.given(p):
			r.missing(path, f.key, f.doc)
		}
	}
}

func (o object[P]) field(key string) (field[P], bool) {
	for _, f := range o.fields {
		if f.key == key {
			return f, true
		}
	}
	return field[P]{}, false
}

// scalar is a single value: how it is written and how it is understood. The
// error of parse says what is wrong in at most two parts, see units.Error.
type scalar[V any] struct {
	wants  string
	parse  func(text string) (V, error)
	format map[string]any
	// secret keeps what was found out of what is said of it.
	secret bool
}

type scalarKind[P any] struct {
	wants  string
	store  func(into P, text string) error
	format map[string]any
	secret bool
}

// of stores a scalar where at points.
func of[P, V any](s scalar[V], at func(P) *V) kind[P] {
	return &scalarKind[P]{s.wants, func(into P, text string) error {
		v, err := s.parse(text)
		if err == nil {
			*at(into) = v
		}
		return err
	}, s.format, s.secret}
}

func (k *scalarKind[P]) read(r *reader, n ast.Node, path string, into P) {
	text, ok := r.text(n, path, k.wants)
	if !ok {
		return
	}
	if err := k.store(into, text); err != nil {
		found := quote(text)
		if k.secret {
			found = ""
		}
		r.refuse(path, err, found, k.wants)
	}
}

func (k *scalarKind[P]) schema() map[string]any {
	out := map[string]any{"description": k.wants}
	for key, v := range k.format {
		out[key] = v
	}
	return out
}

// maybe stores a number that may be absent.
func maybe[P any](s scalar[float64], at func(P) *garden.Measured) kind[P] {
	return of(scalar[garden.Measured]{wants: s.wants, format: s.format, parse: func(text string) (garden.Measured, error) {
		v, err := s.parse(text)
		return garden.Known(v), err
	}}, at)
}

// as turns a scalar of plain numbers into one of a named type.
func as[V ~float64](s scalar[float64]) scalar[V] {
	return scalar[V]{wants: s.wants, format: s.format, parse: func(text string) (V, error) {
		v, err := s.parse(text)
		return V(v), err
	}}
}

type inKind[P, Q any] struct {
	of kind[Q]
	at func(P) Q
}

// in reads a part by its own kind.
func in[P, Q any](of kind[Q], at func(P) Q) kind[P] { return &inKind[P, Q]{of, at} }

func (k *inKind[P, Q]) read(r *reader, n ast.Node, path string, into P) {
	k.of.read(r, n, path, k.at(into))
}

func (k *inKind[P, Q]) schema() map[string]any { return k.of.schema() }

// lift lends the fields of a part to the mapping around it.
func lift[P, Q any](fields []field[Q], at func(P) Q) []field[P] {
	out := make([]field[P], len(fields))
	for i, f := range fields {
		out[i] = field[P]{f.key, f.doc, f.need, in(f.kind, at)}
	}
	return out
}

type listKind[P, V any] struct {
	what string
	item kind[*V]
	at   func(P) *[]V
}

// list reads "- " items. what names them, "hours such as 05:00-09:00".
func list[P, V any](what string, item kind[*V], at func(P) *[]V) kind[P] {
	return &listKind[P, V]{what, item, at}
}

func (k *listKind[P, V]) read(r *reader, n ast.Node, path string, into P) {
	seq, ok := n.(*ast.SequenceNode)
	if !ok {
		r.wrongType(n, path, "a list of "+k.what)
		return
	}
	out := make([]V, len(seq.Values))
	for i, item := range seq.Values {
		p := fmt.Sprintf("%s.%d", path, i+1)
		r.src.places[p] = start(item)
		if empty(item) {
			r.say(p, "nothing there", "", "one of the "+k.what)
			continue
		}
		k.item.read(r, item, p, &out[i])
	}
	*k.at(into) = out
}

func (k *listKind[P, V]) schema() map[string]any {
	return map[string]any{"type": "array", "items": k.item.schema()}
}

// entry is one member of a mapping whose keys are ids.
type entry[V any] struct {
	id, path string
	value    V
}

type byIDKind[P, V any] struct {
	what  string
	item  kind[*V]
	fresh func() V
	at    func(P) *[]entry[V]
}

// byID reads a mapping from ids the gardener chooses to items, in file order.
// fresh makes an item with its defaults.
func byID[P, V any](what string, item kind[*V], fresh func() V, at func(P) *[]entry[V]) kind[P] {
	return &byIDKind[P, V]{what, item, fresh, at}
}

func (k *byIDKind[P, V]) read(r *reader, n ast.Node, path string, into P) {
	entries, ok := r.mapping(n, path, k.what+" by name")
	if !ok {
		return
	}
	for _, e := range entries {
		if !garden.ValidID(e.key) {
			r.dropped = true
			r.sayAt(e.at, path, "not a name for "+k.what, quote(e.key),
				fmt.Sprintf("up to %d small letters, digits and inner hyphens, such as %q", garden.MaxIDLen, slug(e.key, "south-pot")))
			continue
		}
		if !r.enter(e, path) {
			continue
		}
		v := k.fresh()
		p := join(path, e.key)
		k.item.read(r, e.value, p, &v)
		*k.at(into) = append(*k.at(into), entry[V]{e.key, p, v})
	}
}

func (k *byIDKind[P, V]) schema() map[string]any {
	return map[string]any{
		"type":                 "object",
		"propertyNames":        map[string]any{"pattern": "^[a-z0-9]([a-z0-9-]*[a-z0-9])?$", "maxLength": garden.MaxIDLen},
		"additionalProperties": k.item.schema(),
	}
}

type eitherKind[P any] struct{ short, long kind[P] }

// either takes the short form where a scalar stands and the long one where a
// mapping does.
func either[P any](short, long kind[P]) kind[P] { return &eitherKind[P]{short, long} }

func (k *eitherKind[P]) read(r *reader, n ast.Node, path string, into P) {
	if isMapping(n) {
		k.long.read(r, n, path, into)
		return
	}
	k.short.read(r, n, path, into)
}

func (k *eitherKind[P]) schema() map[string]any {
	return map[string]any{"anyOf": []any{k.short.schema(), k.long.schema()}}
}

func (o object[P]) schema() map[string]any {
	props, need := map[string]any{}, []any{}
	for _, f := range o.fields {
		s := f.kind.schema()
		if wants, ok := s["description"].(string); ok && wants != "" {
			s["description"] = f.doc + ": " + wants
		} else {
			s["description"] = f.doc
		}
		props[f.key] = s
		if f.need {
			need = append(need, f.key)
		}
	}
	out := map[string]any{"type": "object", "additionalProperties": false, "properties": props}
	if len(need) > 0 {
		out["required"] = need
	}
	return out
}

func join(path, key string) string {
	if path == "" {
		return key
	}
	return path + "." + key
}

// slug makes an id of a text, or otherwise where nothing of it can stay.
func slug(text, otherwise string) string {
	var b strings.Builder
	for _, c := range strings.ToLower(text) {
		switch {
		case (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9'):
			b.WriteRune(c)
		case b.Len() > 0 && !strings.HasSuffix(b.String(), "-"):
			b.WriteByte('-')
		}
		if b.Len() >= garden.MaxIDLen {
			break
		}
	}
	if s := strings.Trim(b.String(), "-"); s != "" {
		return s
	}
	return otherwise
}

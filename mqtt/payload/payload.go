// Package payload decodes what arrives over the network: numbers and small
// JSON documents.
//
// Everything here is bounded before it is looked at: size, UTF-8, nesting.
// Numbers are finite and are numbers: a number in quotes is text. Keys are
// matched exactly, letter case included, and a key that appears twice makes the
// document invalid, since two readers would disagree about it.
package payload

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"unicode/utf8"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
)

const (
	// MaxBytes bounds a document.
	MaxBytes = 16 << 10
	// MaxDepth bounds how deep objects and arrays may nest.
	MaxDepth = 8
)

var (
	errSize  = fmt.Errorf("payload is larger than %d bytes", MaxBytes)
	errUTF8  = errors.New("payload is not UTF-8 text")
	errDepth = fmt.Errorf("payload nests deeper than %d", MaxDepth)
	errEmpty = errors.New("payload is empty")
)

// Check judges size, encoding and nesting, and nothing else.
func Check(b []byte) error {
	switch {
	case len(b) == 0:
		return errEmpty
	case len(b) > MaxBytes:
		return errSize
	case !utf8.Valid(b):
		return errUTF8
	}
	depth, quoted := 0, false
	for i := 0; i < len(b); i++ {
		c := b[i]
		switch {
		case quoted && c == '\\':
			i++
		case c == '"':
			quoted = !quoted
		case quoted:
		case c == '{' || c == '[':
			if depth++; depth > MaxDepth {
				return errDepth
			}
		case c == '}' || c == ']':
			depth--
		}
	}
	return nil
}

// Number decodes a plain decimal number, surrounded by blanks at most. It
// refuses NaN, infinities, hexadecimal, digit separators and text.
func Number(b []byte) (float64, error) {
	if len(b) > 256 {
		return 0, errors.New("number is longer than 256 bytes")
	}
	s := bytes.Trim(b, " \t\r\n")
	if len(s) == 0 {
		return 0, errEmpty
	}
	if len(s) > 64 {
		return 0, errors.New("number is longer than 64 characters")
	}
	for _, c := range s {
		// The characters of decimal floating point. Of what strconv would
		// take besides, "_", "x", "p", "inf" and "nan" need others.
		if (c < '0' || c > '9') && c != '+' && c != '-' && c != '.' && c != 'e' && c != 'E' {
			return 0, fmt.Errorf("expected a plain number, found %.32q", s)
		}
	}
	v, err := strconv.ParseFloat(string(s), 64)
	if err != nil || math.IsInf(v, 0) || math.IsNaN(v) {
		return 0, fmt.Errorf("expected a finite number, found %.32q", s)
	}
	return v, nil
}

// Strict decodes a document into v and refuses what v does not know.
func Strict(b []byte, v any) error { return decode(b, v, json.RejectUnknownMembers(true)) }

// Lenient decodes a document into v and ignores what v does not know.
func Lenient(b []byte, v any) error { return decode(b, v) }

func decode(b []byte, v any, opts ...json.Options) error {
	if err := Check(b); err != nil {
		return err
	}
	if err := json.Unmarshal(b, v, opts...); err != nil {
		return fmt.Errorf("not the expected JSON: %w", err)
	}
	return nil
}

// Encode is the JSON of v, with keys in the order of v's fields.
func Encode(v any) ([]byte, error) { return json.Marshal(v, json.Deterministic(true)) }

// Values finds the numbers at the given RFC 6901 pointers in one pass over the
// document. found[i] tells whether pointer i was there. A value that is there
// but no finite number is an error; so is a document that is not JSON to its
// last byte. An empty pointer is the whole document.
func Values(b []byte, pointers []string, values []float64, found []bool) error {
	if err := Check(b); err != nil {
		return err
	}
	for i := range found {
		found[i] = false
	}
	dec := jsontext.NewDecoder(bytes.NewBuffer(b))
	for {
		tok, err := dec.ReadToken()
		if err != nil {
			return fmt.Errorf("not JSON: %w", err)
		}
		// An object's keys share their value's pointer and come first.
		if kind, n := dec.StackIndex(dec.StackDepth()); !(kind == '{' && n%2 == 1) {
			at := dec.StackPointer()
			for i, p := range pointers {
				if p != string(at) || tok.Kind() == '}' || tok.Kind() == ']' {
					continue
				}
				if tok.Kind() != '0' {
					return fmt.Errorf("expected a number at %q, found %s", p, tok.Kind())
				}
				// Not tok.Float, which makes an overflow the largest float.
				v, err := strconv.ParseFloat(tok.String(), 64)
				if err != nil || math.IsInf(v, 0) || math.IsNaN(v) {
					return fmt.Errorf("expected a finite number at %q, found %.32q", p, tok.String())
				}
				values[i], found[i] = v, true
			}
		}
		if dec.StackDepth() == 0 {
			break
		}
	}
	if _, err := dec.ReadToken(); err != io.EOF {
		return errors.New("not JSON: something follows the document")
	}
	return nil
}

// ValidPointer reports whether s is an RFC 6901 pointer.
func ValidPointer(s string) bool { return len(s) <= 256 && jsontext.Pointer(s).IsValid() }

// Word finds the text at the given pointer of a document.
func Word(b []byte, pointer string) (string, error) {
	if err := Check(b); err != nil {
		return "", err
	}
	if !jsontext.Value(b).IsValid() {
		return "", errors.New("not JSON")
	}
	dec := jsontext.NewDecoder(bytes.NewBuffer(b))
	for {
		tok, err := dec.ReadToken()
		if err != nil {
			return "", fmt.Errorf("nothing at %q", pointer)
		}
		if kind, n := dec.StackIndex(dec.StackDepth()); kind == '{' && n%2 == 1 {
			continue // an object's key
		}
		if string(dec.StackPointer()) == pointer && tok.Kind() != '}' && tok.Kind() != ']' {
			if tok.Kind() != '"' {
				return "", fmt.Errorf("expected text at %q, found %s", pointer, tok.Kind())
			}
			return tok.String(), nil
		}
	}
}

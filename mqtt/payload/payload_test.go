package payload

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestNumber(t *testing.T) {
	for in, want := range map[string]float64{"0": 0, " 12\n": 12, "-0.5": -0.5, "1e3": 1000, "+7": 7, ".5": .5} {
		got, err := Number([]byte(in))
		require.NoError(t, err, in)
		assert.Equal(t, want, got, in)
	}
	for _, bad := range []string{"", " ", "NaN", "nan", "Inf", "-inf", "1e999", "0x10", "1_000", "1,5", `"1"`, "1 2", "--1", "e", "1\x00", strings.Repeat("1", 65)} {
		_, err := Number([]byte(bad))
		assert.Error(t, err, "%q", bad)
	}
}

func TestCheckBoundsBeforeLooking(t *testing.T) {
	assert.NoError(t, Check([]byte(strings.Repeat("[", MaxDepth))))
	assert.ErrorIs(t, Check([]byte(strings.Repeat("[", MaxDepth+1))), errDepth)
	assert.NoError(t, Check([]byte(`"`+strings.Repeat("[", 100)+`"`)), "brackets in a string do not nest")
	assert.NoError(t, Check([]byte(`"\"`+strings.Repeat("[", 100)+`"`)))
	assert.ErrorIs(t, Check(make([]byte, MaxBytes+1)), errSize)
	assert.ErrorIs(t, Check([]byte{'"', 0xff, '"'}), errUTF8)
	assert.ErrorIs(t, Check(nil), errEmpty)
}

func TestStrictKnowsItsKeys(t *testing.T) {
	type doc struct {
		Litres float64 `json:"litres"`
	}
	var d doc
	require.NoError(t, Strict([]byte(`{"litres":2}`), &d))
	assert.Equal(t, 2.0, d.Litres)
	for _, bad := range []string{`{"litres":"2"}`, `{"Litres":2}`, `{"litres":2,"litres":3}`, `{"litres":2,"x":1}`, `{"litres":1e999}`, `{"litres":2}x`, `[]`, `{`, `{"litres":NaN}`} {
		assert.Error(t, Strict([]byte(bad), new(doc)), bad)
	}
	assert.NoError(t, Lenient([]byte(`{"litres":2,"x":[1,{"y":2}]}`), new(doc)), "telemetry may say more")
}

func TestValues(t *testing.T) {
	doc := []byte(`{"soil":[{"raw":512,"t":21.5}],"seq":7,"a/b":{"~":1},"":3,"raw":"512"}`)
	v, f := make([]float64, 6), make([]bool, 6)
	require.NoError(t, Values(doc, []string{"/soil/0/raw", "/seq", "/soil/1/raw", "/a~1b/~0", "/", "/none"}, v, f))
	assert.Equal(t, []bool{true, true, false, true, true, false}, f)
	assert.Equal(t, []float64{512, 7, 0, 1, 3, 0}, v)
	for _, bad := range []struct{ doc, p string }{
		{`{"raw":"512"}`, "/raw"}, {`{"raw":null}`, "/raw"}, {`{"raw":true}`, "/raw"}, {`{"raw":{}}`, "/raw"}, {`{"raw":[1]}`, "/raw"},
		{`{"raw":1e999}`, "/raw"}, {`{"raw":1} {}`, "/raw"}, {`{"raw":1`, "/raw"}, {`{"raw":1,"raw":2}`, "/raw"}, {`nope`, ""}, {`{"raw":1}x`, "/raw"},
	} {
		assert.Error(t, Values([]byte(bad.doc), []string{bad.p}, v[:1], f[:1]), bad.doc)
	}
	require.NoError(t, Values([]byte("41"), []string{""}, v[:1], f[:1]))
	assert.Equal(t, 41.0, v[0])
}

func FuzzValues(f *testing.F) {
	f.Add([]byte(`{"soil":[{"raw":512}]}`), "/soil/0/raw")
	f.Add([]byte(`[[[[[[[[[[1]]]]]]]]]]`), "/0")
	f.Add([]byte("\xff"), "")
	f.Fuzz(func(t *testing.T, doc []byte, p string) {
		v, found := []float64{0}, []bool{false}
		if err := Values(doc, []string{p}, v, found); err != nil {
			return
		}
		if math.IsNaN(v[0]) || math.IsInf(v[0], 0) {
			t.Fatalf("%v from %q", v[0], doc)
		}
	})
}

func FuzzNumber(f *testing.F) {
	for _, s := range []string{"1", "NaN", "0x1p-2", "1e309", "- 1"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		if v, err := Number(b); err == nil && (math.IsNaN(v) || math.IsInf(v, 0)) {
			t.Fatalf("%v from %q", v, b)
		}
	})
}

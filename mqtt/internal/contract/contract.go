// Package contract checks payloads against the published JSON Schemas, in tests.
package contract

import (
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"

	"fabricpot/mqtt/schema"
)

// Judge returns nil if the payload fits the schema of that name.
func Judge(t testing.TB, name, text string) error {
	t.Helper()
	f, err := schema.Files.Open(name + ".json")
	require.NoError(t, err)
	defer f.Close()
	doc, err := jsonschema.UnmarshalJSON(f)
	require.NoError(t, err)
	c := jsonschema.NewCompiler()
	c.AssertFormat()
	require.NoError(t, c.AddResource(name+".json", doc))
	s, err := c.Compile(name + ".json")
	require.NoError(t, err)
	v, err := jsonschema.UnmarshalJSON(strings.NewReader(text))
	if err != nil {
		return err
	}
	return s.Validate(v)
}

// Fits fails the test if the payload does not fit.
func Fits(t testing.TB, name, text string) {
	t.Helper()
	require.NoError(t, Judge(t, name, text), "%s: %s", name, text)
}

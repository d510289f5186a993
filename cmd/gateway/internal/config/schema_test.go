package config_test

import (
	"encoding/json"
	"regexp"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/cmd/gateway/internal/config"
)

// TestSchema: it is JSON, every key says what it means, and its patterns are
// regular expressions.
func TestSchema(t *testing.T) {
	raw, err := json.Marshal(config.Schema())
	require.NoError(t, err)
	var back map[string]any
	require.NoError(t, json.Unmarshal(raw, &back))
	assert.Equal(t, "https://json-schema.org/draft/2020-12/schema", back["$schema"])
	assert.ElementsMatch(t, []any{"site", "mixes", "pots"}, back["required"])
	keys := 0
	var walk func(path string, s map[string]any)
	walk = func(path string, s map[string]any) {
		if p, ok := s["pattern"].(string); ok {
			_, err := regexp.Compile(p)
			assert.NoError(t, err, path)
		}
		if props, ok := s["properties"].(map[string]any); ok {
			assert.Equal(t, false, s["additionalProperties"], "%s must be strict", path)
			for key, v := range props {
				keys++
				assert.NotEmpty(t, v.(map[string]any)["description"], path+"."+key)
			}
		}
		for key, v := range s {
			if m, ok := v.(map[string]any); ok {
				walk(path+"/"+key, m)
			}
		}
	}
	walk("", back)
	assert.Greater(t, keys, 90)
}

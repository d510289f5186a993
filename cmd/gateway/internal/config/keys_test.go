package config_test

import (
	"errors"
	"fmt"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/cmd/gateway/internal/config"
)

// documented collects the keys of the schema: path of objects, ids as "*".
func documented(s map[string]any, path string, out map[string]bool) {
	if props, ok := s["properties"].(map[string]any); ok {
		for key, v := range props {
			out[strings.TrimPrefix(path+"."+key, ".")] = true
			documented(v.(map[string]any), path+"."+key, out)
		}
	}
	if v, ok := s["additionalProperties"].(map[string]any); ok {
		documented(v, path+".*", out)
	}
	if v, ok := s["items"].(map[string]any); ok {
		documented(v, path, out)
	}
	if alternatives, ok := s["anyOf"].([]any); ok {
		for _, v := range alternatives {
			documented(v.(map[string]any), path, out)
		}
	}
}

var keyLine = regexp.MustCompile(`^( *(?:- )?)([a-z0-9-]+):`)

// TestEveryKey: each key of the schema stands in full, which loads; and each
// key there, misspelt, is reported at its place with itself as the suggestion.
func TestEveryKey(t *testing.T) {
	keys := map[string]bool{}
	documented(config.Schema(), "", keys)
	require.Greater(t, len(keys), 90)
	last := map[string]bool{}
	for k := range keys {
		last[k[strings.LastIndexByte(k, '.')+1:]] = true
	}
	lines := strings.Split(full, "\n")
	seen := map[string]bool{}
	for n, line := range lines {
		for _, inline := range regexp.MustCompile(`[{,] *([a-z0-9-]+):`).FindAllStringSubmatch(line, -1) {
			seen[inline[1]] = true
		}
		m := keyLine.FindStringSubmatch(line)
		if m == nil || !last[m[2]] {
			continue // a name the gardener chose
		}
		seen[m[2]] = true
		if len(m[2]) < 2 {
			continue // "n" has no misspelling of its own
		}
		for what, wrong := range map[string]string{"swapped": swap(m[2]), "one too many": m[2] + "x"} {
			t.Run(fmt.Sprintf("line %d %s %s", n+1, m[2], what), func(t *testing.T) {
				broken := append([]string{}, lines...)
				broken[n] = m[1] + wrong + line[len(m[0])-1:]
				_, _, err := config.Load("f", []byte(strings.Join(broken, "\n")))
				var ps config.Problems
				require.True(t, errors.As(err, &ps))
				at := fmt.Sprintf("f:%d:%d: ", n+1, len(m[1])+1)
				assert.Contains(t, "\n"+ps.Error(), "\n"+at)
				assert.Regexp(t, regexp.QuoteMeta(at)+`.*unknown key.*found "`+wrong+`", expected "`+m[2]+`"`, ps.Error())
			})
		}
	}
	for k := range last {
		assert.True(t, seen[k], "key %q is documented and not in the full file", k)
	}
}

// swap exchanges the first two neighbours that differ.
func swap(s string) string {
	b := []byte(s)
	for i := 1; i < len(b); i++ {
		if b[i] != b[i-1] {
			b[i], b[i-1] = b[i-1], b[i]
			break
		}
	}
	return string(b)
}

func replace(t *testing.T, s string, oldNew ...string) string {
	t.Helper()
	for i := 0; i < len(oldNew); i += 2 {
		require.Contains(t, s, oldNew[i])
		s = strings.Replace(s, oldNew[i], oldNew[i+1], 1)
	}
	return s
}

package contract

import (
	"os"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/mqtt/schema"
	"fabricpot/mqtt/topic"
)

// TestTheTextIsTrue holds CONTRACT.md to the code: its examples fit the schemas,
// it links every schema, and it spells every topic as the code does.
func TestTheTextIsTrue(t *testing.T) {
	b, err := os.ReadFile("../../CONTRACT.md")
	require.NoError(t, err)
	text := string(b)
	n := 0
	for _, block := range regexp.MustCompile("(?s)```(?:json)?\n(.*?)```").FindAllStringSubmatch(text, -1) {
		for line := range strings.SplitSeq(strings.TrimSpace(block[1]), "\n") {
			name := ""
			switch {
			case strings.Contains(line, `"expires"`):
				name = "command"
			case strings.Contains(line, `"do"`):
				name = "valve-set"
			case strings.Contains(line, `"state"`):
				name = "valve-state"
			case strings.Contains(line, `"days"`):
				name = "weather-days"
			case strings.Contains(line, `"value"`), line == "0.417":
				name = "probe"
			default:
				continue
			}
			n++
			Fits(t, name, line)
		}
	}
	assert.GreaterOrEqual(t, n, 7, "examples found")
	files, err := schema.Files.ReadDir(".")
	require.NoError(t, err)
	for _, f := range files {
		assert.True(t, strings.Contains(text, "(schema/"+f.Name()+")"), "no link to %s", f.Name())
		assert.NoError(t, compiles(t, strings.TrimSuffix(f.Name(), ".json")))
	}
	tree, err := topic.NewTree("", "base")
	require.NoError(t, err)
	for _, k := range topic.Kinds() {
		re := strings.Replace(strings.Replace(tree.All(k), "fabricpot/base", "`<base>", 1), "+", "<[a-z]+>", 1)
		assert.True(t, regexp.MustCompile(re).MatchString(text), "no topic like %s", re)
	}
}

// compiles judges something no schema accepts, so that the schema is compiled.
func compiles(t *testing.T, name string) error {
	if Judge(t, name, `[["nothing"]]`) == nil {
		return assert.AnError
	}
	return nil
}

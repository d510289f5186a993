package season

import (
	"fmt"
	"testing"
	"time"

	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/feed"
	"fabricpot/control/feeding"
	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestGardenFileInAFeed: between two pulses of a feed every line is closed, and a
// changed garden file waits all the same.
func TestGardenFileInAFeed(t *testing.T) {
	for _, at := range []time.Duration{38 * time.Minute, time.Hour} {
		o, err := Play(with(fedScript(), func(s *Script) {
			s.Mode, s.Days, s.Mishaps = Several, 2, []Mishap{{Kind: "garden file changed", At: at}}
		}))
		require.NoError(t, err)
		assert.Empty(t, o.Violations, "%v", at)
		assert.Positive(t, o.Feeds)
	}
}

// TestMayWait: what a garden file waits for is held against what can be seen.
func TestMayWait(t *testing.T) {
	s := farScript()
	g, err := s.garden()
	require.NoError(t, err)
	w := newWitness(g, nil)
	c := &course{w: w, book: newMemBook(w)}
	fed := runner.NotNow{Why: fmt.Errorf("%w in p0", feeding.ErrFeeding)}
	assert.False(t, c.mayWait(fed), "no feed was begun")
	c.book.fed.Records = []feed.Record{{Zone: "p0", Kind: feed.Begun}, {Zone: "p1", Kind: feed.Begun}, {Zone: "p1", Kind: feed.Ended}}
	assert.True(t, c.mayWait(fed))
	c.book.fed.Records = append(c.book.fed.Records, feed.Record{Zone: "p0", Kind: feed.Ended})
	assert.False(t, c.mayWait(fed), "it is over")

	assert.True(t, c.mayWait(runner.NotNow{Open: []garden.LineID{"l0"}}), "a line on a broker")
	near := runner.NotNow{Open: []garden.LineID{"l1"}}
	assert.False(t, c.mayWait(near))
	w.lines[1].pinBad = true
	assert.True(t, c.mayWait(near))
	assert.False(t, c.mayWait(runner.NotNow{}))
}

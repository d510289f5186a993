package season

import (
	"testing"

	"fabricpot/control/feed"
	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestFeedStepsOnAFlakyCard: the journal never has a pulse of a feed without its
// beginning, or the next start would take it for no feed and give another.
func TestFeedStepsOnAFlakyCard(t *testing.T) {
	failed, feeds := 0, 0
	for _, seed := range []uint64{22, 91, 11, 127} {
		var book *refusesBegun
		o, err := play(NewScript(seed, Single, 8, "card told to be full and back"), tricks{wrap: func(o *Options) {
			book = &refusesBegun{memBook: o.Journal.(*memBook)}
			o.Journal = book
		}})
		require.NoError(t, err)
		assert.Empty(t, o.Violations, "seed %d", seed)
		failed += book.failed
		begun := map[garden.FeedID]bool{}
		for _, r := range book.fed.Records {
			switch r.Kind {
			case feed.Begun:
				begun[r.Feed] = true
				feeds++
			case feed.PulseIntended, feed.PulseSettled, feed.Ended:
				assert.True(t, begun[r.Feed], "seed %d: feed %d: %s and no beginning", seed, r.Feed, r.Kind)
			}
		}
	}
	assert.Positive(t, failed, "no beginning of a feed met a card that could not be written")
	assert.Greater(t, feeds, 4)
}

// refusesBegun counts the beginnings that could not be written.
type refusesBegun struct {
	*memBook
	failed int
}

func (f *refusesBegun) AddFeedSteps(r []feed.Record) error {
	err := f.memBook.AddFeedSteps(r)
	for i := range r {
		if err != nil && r[i].Kind == feed.Begun {
			f.failed++
		}
	}
	return err
}

package runner

import (
	"strings"
	"testing"
	"time"

	"fabricpot/control/feeding"
	"fabricpot/control/garden"
	"fabricpot/control/task"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestANoteIsEnteredWholeOrNotAtAll: a reading beside a note that is refused is not
// entered either.
func TestANoteIsEnteredWholeOrNotAtAll(t *testing.T) {
	r := newRig(t)
	plan, err := feeding.NewPlan(r.loop.p.Garden, r.loop.p.Plan)
	require.NoError(t, err)
	now := garden.Moment{Mono: time.Hour, Wall: time.Date(2031, 6, 1, 9, 0, 0, 0, time.UTC), Synced: true}
	b, err := OpenFeedBook(r.loop.p.Garden, plan, nil, now)
	require.NoError(t, err)
	drain := func() garden.Measured {
		return plan.Facts(b.state, plan.Index("chilli"), now, feeding.Week{}).DrainMS
	}
	ms := 2.5
	listed := len(b.List(now.Wall).Tasks)
	_, err = b.Note(now, Observation{Zone: "chilli", Sign: "limp", Text: strings.Repeat("x", 1<<16), DrainMS: &ms}, "test")
	require.ErrorContains(t, err, "characters")
	assert.False(t, drain().Known, "half of it was entered")
	assert.Len(t, b.List(now.Wall).Tasks, listed)
	_, err = b.Note(now, Observation{Zone: "chilli", Sign: "limp", Text: "by noon", DrainMS: &ms}, "test")
	require.NoError(t, err)
	assert.Equal(t, garden.Known(ms), drain())
}

// A note for people begins with its signs, as the page reads it, and tells a number as one
// says it. The data stand beside it.
func TestANoteForPeopleBeginsWithItsSign(t *testing.T) {
	now := garden.Moment{Mono: time.Hour, Wall: time.Date(2031, 6, 1, 9, 0, 0, 0, time.UTC), Synced: true}
	_, b, card := onFullFeedCard(t, now)
	card.full = false
	_, err := b.Note(now, Observation{Zone: "chilli", Sign: "limp", Text: "by noon", Answers: map[string]string{task.AskLowerHeight: "1/3"}}, "test")
	require.NoError(t, err)
	var words []string
	for _, n := range card.notes {
		if n.Kind == "seen" {
			words = append(words, n.Text)
		}
	}
	assert.Equal(t, []string{"limp: lower-height 0.333: by noon"}, words)
	assert.Len(t, card.notes, 3)
}

package runner

import (
	"errors"
	"testing"
	"time"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/control/feed"
	"fabricpot/control/feeding"
	"fabricpot/control/garden"
	"fabricpot/control/task"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// feedCard is a journal of feeds on a card that may be full.
type feedCard struct {
	FeedJournal
	full   bool
	steps  []feed.Record
	events []task.Event
	feeds  []journal.Feed
	notes  []journal.Note
}

func (c *feedCard) Fed(time.Time) (feeding.Past, error)  { return feeding.Past{}, nil }
func (c *feedCard) KeepLedgers([]feeding.Snapshot) error { return nil }
func (c *feedCard) AddFeed(f journal.Feed) error         { c.feeds = append(c.feeds, f); return nil }
func (c *feedCard) AddNote(n journal.Note) error         { c.notes = append(c.notes, n); return nil }
func (c *feedCard) Notes(time.Time) ([]journal.Note, error) {
	return c.notes, nil
}
func (c *feedCard) Week(garden.ZoneID, []garden.ProbeID, float64, time.Time) (feeding.Week, error) {
	return feeding.Week{}, nil
}
func (c *feedCard) AddTaskEvents(e []task.Event) error {
	if c.full && len(e) > 0 {
		return errors.New("disk full")
	}
	c.events = append(c.events, e...)
	return nil
}
func (c *feedCard) AddFeedSteps(r []feed.Record) (err error) {
	if c.full {
		return errors.New("disk full")
	}
	c.steps = append(c.steps, r...)
	return nil
}

// feedWriters are those who write what is late, by name.
func feedWriters(now garden.Moment) map[string]func(*Loop, *FeedBook) error {
	return map[string]func(*Loop, *FeedBook) error{
		"by a round": func(l *Loop, _ *FeedBook) error {
			if !l.keepFeeds(now) {
				return errors.New("not kept")
			}
			return nil
		},
		"by a task done": func(_ *Loop, b *FeedBook) error { return b.keep(now, feeding.Entered{}) },
	}
}

// onFullFeedCard is a loop with a book of feeds on a card that is full.
func onFullFeedCard(t *testing.T, now garden.Moment) (*Loop, *FeedBook, *feedCard) {
	l := newRig(t).loop
	plan, err := feeding.NewPlan(l.p.Garden, l.p.Plan)
	require.NoError(t, err)
	card := &feedCard{full: true}
	b, err := OpenFeedBook(l.p.Garden, plan, card, now)
	require.NoError(t, err)
	l.feeds.book.Store(b)
	return l, b, card
}

// TestFeedsWrittenLateAreListed: what a feed gave while its steps could not be
// written is listed among the feeds once they are, whoever writes them.
func TestFeedsWrittenLateAreListed(t *testing.T) {
	now := garden.Moment{Mono: time.Hour, Wall: time.Date(2031, 6, 1, 8, 0, 0, 0, time.UTC), Synced: true}
	gave := feed.Record{Kind: feed.PulseSettled, Zone: "chilli", At: now.Wall, Litres: 1.5, PPM: feed.NPK{N: 100}}
	for name, write := range feedWriters(now) {
		t.Run(name, func(t *testing.T) {
			l, b, card := onFullFeedCard(t, now)
			b.late = []feed.Record{gave}
			require.Error(t, write(l, b))
			require.Empty(t, card.feeds)
			card.full = false
			for range 2 {
				require.NoError(t, write(l, b))
			}
			assert.Equal(t, []feed.Record{gave}, card.steps)
			require.Len(t, card.feeds, 1, "once")
			assert.Equal(t, garden.ZoneID("chilli"), card.feeds[0].Zone)
			assert.Equal(t, garden.Known(0.15), card.feeds[0].NG)
		})
	}
}

// TestFeedEnteredOnAFullCard: what a person says they gave while the card is full
// is written, once, when there is room again, whoever writes next: the next start
// would have it given a second time else.
func TestFeedEnteredOnAFullCard(t *testing.T) {
	now := garden.Moment{Mono: time.Hour, Wall: time.Date(2031, 6, 1, 8, 0, 0, 0, time.UTC), Synced: true}
	gave := feed.Record{Kind: feed.HandGiven, Zone: "chilli", At: now.Wall, Litres: 1.5, PPM: feed.NPK{N: 100}}
	done := task.Event{Kind: task.Done, Task: task.Task{ID: "feed-chilli", Kind: task.Feed, Zone: "chilli"}, At: now.Wall}
	for name, write := range feedWriters(now) {
		t.Run(name, func(t *testing.T) {
			l, b, card := onFullFeedCard(t, now)
			require.Error(t, b.keep(now, feeding.Entered{Records: []feed.Record{gave}, Events: []task.Event{done}}))
			require.Error(t, write(l, b))
			assert.Empty(t, card.feeds, "listed before its steps are kept")
			card.full = false
			for range 2 {
				require.NoError(t, write(l, b))
			}
			assert.Equal(t, []feed.Record{gave}, card.steps)
			assert.Equal(t, []task.Event{done}, card.events)
			require.Len(t, card.feeds, 1, "once")
			assert.True(t, card.feeds[0].ByHand)
		})
	}
}

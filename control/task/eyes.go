package task

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"fabricpot/control/garden"
)

// Eyes is what a person saw of one pot at one time, as data: the answers of the
// round, each a word of its question, a number or a file's name, and the signs
// they or the person named.
type Eyes struct {
	Zone garden.ZoneID
	At   time.Time
	// Words holds the chosen answer by question; a question not answered is
	// absent.
	Words map[string]string
	// LowerCount is how many of the lowest leaves are affected, LowerHeight how
	// high up it goes as a part of the plant, 0..1.
	LowerCount, LowerHeight garden.Measured
	Photo                   string
	Signs                   []Sign
}

// Names of the round's questions.
const (
	AskNewGrowth   = "new-growth"
	AskLowerLeaves = "lower-leaves"
	AskLowerCount  = "lower-count"
	AskLowerHeight = "lower-height"
	AskSpots       = "spots"
	AskFruit       = "fruit"
	AskDrainage    = "drainage"
	AskPhoto       = "photo"
)

// Words of answers that say something without being a sign.
const (
	greenWord   = "green"
	noneWord    = "none"
	throughWord = "almost at once"
	standsWord  = "it stands on top"
)

// maxLeaves bounds a count of leaves, maxPhoto the length of a file's name.
const (
	maxLeaves = 500
	maxPhoto  = 200
)

// ReadEyes turns a round's answers for one zone (question to answer) into data. A
// question or an answer that is not on the round is an error that names what is;
// an empty answer counts as not given.
func ReadEyes(z garden.ZoneID, at time.Time, answers map[string]string) (Eyes, error) {
	e := Eyes{Zone: z, At: at, Words: map[string]string{}}
	known := map[string]bool{}
	var names []string
	for _, q := range Questions() {
		known[q.ID] = true
		names = append(names, q.ID)
		given := strings.TrimSpace(answers[q.ID])
		if given == "" {
			continue
		}
		if len(given) > maxText {
			return Eyes{}, fmt.Errorf("task: round: answer to %q has %d characters, expected at most %d", q.ID, len(given), maxText)
		}
		switch q.ID {
		case AskLowerCount:
			n, err := strconv.Atoi(given)
			if err != nil || n < 0 || n > maxLeaves {
				return Eyes{}, fmt.Errorf("task: round: %q leaves, expected a whole number from 0 to %d", given, maxLeaves)
			}
			e.LowerCount = garden.Known(float64(n))
		case AskLowerHeight:
			h, err := part(given)
			if err != nil {
				return Eyes{}, err
			}
			e.LowerHeight = garden.Known(h)
		case AskPhoto:
			if len(given) > maxPhoto || strings.ContainsAny(given, "\x00\n\r") {
				return Eyes{}, fmt.Errorf("task: round: a photo's file name of %d characters, expected one line of at most %d", len(given), maxPhoto)
			}
			e.Photo = given
		default:
			c, err := q.choose(given)
			if err != nil {
				return Eyes{}, err
			}
			e.Words[q.ID] = c.Word
			e.sign(c.Sign)
		}
	}
	for id := range answers {
		if !known[id] {
			return Eyes{}, fmt.Errorf("task: round: there is no question %q; questions are %s", id, strings.Join(names, ", "))
		}
	}
	return e, nil
}

// part reads a part of the whole: 0.3, 30 % or 1/3.
func part(s string) (float64, error) {
	num, by := strings.TrimSpace(strings.TrimSuffix(s, "%")), 1.0
	if num != s {
		by = 100
	}
	if n, d, ok := strings.Cut(num, "/"); ok && by == 1 {
		v, err := strconv.ParseFloat(strings.TrimSpace(d), 64)
		if err == nil && v > 0 {
			num, by = strings.TrimSpace(n), v
		}
	}
	v, err := strconv.ParseFloat(num, 64)
	if v /= by; err != nil || math.IsNaN(v) || v < 0 || v > 1 {
		return 0, fmt.Errorf("task: round: %q of the plant's height, expected a part from 0 to 1, such as 0.3 or 30 %%", s)
	}
	return v, nil
}

func (e *Eyes) sign(s Sign) {
	if s == "" {
		return
	}
	for _, have := range e.Signs {
		if have == s {
			return
		}
	}
	e.Signs = append(e.Signs, s)
}

// Nothing reports whether no question was answered and no sign named.
func (e Eyes) Nothing() bool {
	return len(e.Words) == 0 && len(e.Signs) == 0 && e.Photo == "" && !e.LowerCount.Known && !e.LowerHeight.Known
}

// EyesAnswer is one piece of what was seen, as the journal keeps it: the question (or
// SignAnswer), the word, and the number where it is one.
type EyesAnswer struct {
	Question, Word string
	Number         garden.Measured
}

// SignAnswer is the question of a sign that was named by itself.
const SignAnswer = "sign"

// Answers are what was seen, piece by piece in the round's order.
func (e Eyes) Answers() []EyesAnswer {
	var out []EyesAnswer
	for _, q := range Questions() {
		switch {
		case e.Words[q.ID] != "":
			out = append(out, EyesAnswer{Question: q.ID, Word: e.Words[q.ID]})
		case q.ID == AskLowerCount && e.LowerCount.Known:
			out = append(out, EyesAnswer{Question: q.ID, Number: e.LowerCount})
		case q.ID == AskLowerHeight && e.LowerHeight.Known:
			out = append(out, EyesAnswer{Question: q.ID, Number: e.LowerHeight})
		case q.ID == AskPhoto && e.Photo != "":
			out = append(out, EyesAnswer{Question: q.ID, Word: e.Photo})
		}
	}
	for _, s := range e.Signs {
		out = append(out, EyesAnswer{Question: SignAnswer, Word: string(s)})
	}
	return out
}

// Take enters a piece that was kept. What this version does not know is left out.
func (e *Eyes) Take(a EyesAnswer) {
	if e.Words == nil {
		e.Words = map[string]string{}
	}
	switch a.Question {
	case AskLowerCount:
		e.LowerCount = a.Number
	case AskLowerHeight:
		e.LowerHeight = a.Number
	case AskPhoto:
		e.Photo = a.Word
	case SignAnswer:
		if s, err := ParseSign(a.Word); err == nil {
			e.sign(s)
		}
	default:
		e.Words[a.Question] = a.Word
	}
}

// Shows tells whether these eyes speak about a sign at all, and if so whether they
// saw it: it was named, or another answer to its question was given, or all was
// well.
func (e Eyes) Shows(s Sign) (seen, spoke bool) {
	for _, have := range e.Signs {
		if have == s {
			return true, true
		}
		spoke = spoke || have == AllWell
	}
	for _, q := range Questions() {
		for _, c := range q.Choices {
			if c.Sign == s && e.Words[q.ID] != "" {
				return false, true
			}
		}
	}
	return false, spoke
}

// Alike says whether the plants of other pots look the same as one with that sign:
// 1 where at least half of the pots show it whose last look spoke of it, 0 where
// fewer do, absent where none was looked at. others holds the newest look of each.
func Alike(s Sign, others []Eyes) garden.Measured {
	var seen, spoke float64
	for _, e := range others {
		is, told := e.Shows(s)
		if told {
			spoke++
		}
		if is {
			seen++
		}
	}
	switch {
	case spoke == 0:
		return garden.Measured{}
	case seen*2 >= spoke:
		return garden.Known(1)
	}
	return garden.Known(0)
}

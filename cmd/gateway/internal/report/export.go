package report

import (
	"encoding/csv"
	"encoding/json"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"fabricpot/control/garden"
)

// Row is one pot's step of an export. What is not known is nil, never zero;
// litres and millimetres that did not come are 0.
type Row struct {
	// Time is the step's beginning.
	Time time.Time     `json:"time"`
	Pot  garden.ZoneID `json:"pot"`
	// Water is the mean water fraction of the step, Least and Most its bounds,
	// SD how sure it was (one standard deviation), Refill the refill point.
	Water  *float64 `json:"water_fraction"`
	Least  *float64 `json:"water_least"`
	Most   *float64 `json:"water_most"`
	SD     *float64 `json:"water_sd"`
	Refill *float64 `json:"refill_fraction"`
	LineL  float64  `json:"line_l"`
	HandL  float64  `json:"hand_l"`
	FeedL  float64  `json:"feed_l"`
	// RainMM is nil where rain was not measured in the whole span.
	RainMM *float64 `json:"rain_mm"`
	// Events are what a person did or noted, corrections of a probe among them.
	Events []string `json:"events,omitempty"`
}

// Rows cuts each pot's season into steps.
func (b *Book) Rows(every time.Duration) []Row {
	var out []Row
	for i := range b.Zones {
		z := &b.Zones[i]
		at, deed := 0, 0
		next := map[*[]Amount]int{}
		sum := func(list *[]Amount, from, to time.Time) float64 {
			s := 0.0
			for ; next[list] < len(*list) && (*list)[next[list]].At.Before(to); next[list]++ {
				if a := (*list)[next[list]]; !a.At.Before(from) {
					s += a.Value
				}
			}
			return s
		}
		for t := b.From; t.Before(b.To); t = t.Add(every) {
			end := t.Add(every)
			r := Row{Time: t, Pot: z.ID, LineL: sum(&z.Line, t, end), HandL: sum(&z.Hand, t, end), FeedL: sum(&z.Fed, t, end)}
			if rain := sum(&b.Rain, t, end); b.RainMM.Known {
				r.RainMM = &rain
			}
			for ; deed < len(z.Did) && z.Did[deed].At.Before(end); deed++ {
				r.Events = append(r.Events, z.Did[deed].Words)
			}
			var mean, n, sd, sds, refill, refills float64
			lo, hi := math.Inf(1), math.Inf(-1)
			for ; at < len(z.Points) && z.Points[at].At.Before(end); at++ {
				p := z.Points[at]
				w := float64(p.N)
				mean, n = mean+p.Mean*w, n+w
				lo, hi = math.Min(lo, p.Min), math.Max(hi, p.Max)
				if p.SD.Known {
					sd, sds = sd+p.SD.Value, sds+1
				}
				if p.Refill.Known {
					refill, refills = refill+p.Refill.Value, refills+1
				}
			}
			if n > 0 {
				mean /= n
				r.Water, r.Least, r.Most = &mean, &lo, &hi
			}
			if sds > 0 {
				sd /= sds
				r.SD = &sd
			}
			if refills > 0 {
				refill /= refills
				r.Refill = &refill
			}
			if r.Water != nil || r.LineL > 0 || r.HandL > 0 || r.FeedL > 0 || len(r.Events) > 0 {
				out = append(out, r)
			}
		}
	}
	return out
}

// WriteCSV writes rows with a heading, for spreadsheets: a row per pot and
// step, points for decimals, empty where nothing is known.
func WriteCSV(w io.Writer, rows []Row) error {
	c := csv.NewWriter(w)
	if err := c.Write([]string{"time", "pot", "water_fraction", "water_least", "water_most", "water_sd", "refill_fraction", "line_l", "hand_l", "feed_l", "rain_mm", "events"}); err != nil {
		return err
	}
	may := func(v *float64, digits int) string {
		if v == nil {
			return ""
		}
		return strconv.FormatFloat(*v, 'f', digits, 64)
	}
	for i := range rows {
		r := &rows[i]
		err := c.Write([]string{r.Time.Format(time.RFC3339), string(r.Pot), may(r.Water, 4), may(r.Least, 4), may(r.Most, 4), may(r.SD, 4),
			may(r.Refill, 4), may(&r.LineL, 3), may(&r.HandL, 3), may(&r.FeedL, 3), may(r.RainMM, 2), strings.Join(r.Events, "; ")})
		if err != nil {
			return err
		}
	}
	c.Flush()
	return c.Error()
}

// WriteJSON writes rows as one object.
func WriteJSON(w io.Writer, b *Book, rows []Row) error {
	return json.NewEncoder(w).Encode(struct {
		Site string    `json:"site"`
		From time.Time `json:"from"`
		// To is not included.
		To   time.Time `json:"to"`
		Rows []Row     `json:"rows"`
	}{b.Site, b.From, b.To, rows})
}

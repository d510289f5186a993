package page

import "time"

// Way is how a way by which alarms reach a person has been doing.
type Way struct {
	Name string
	// Words say it to a person.
	Words string
	// Works tells that the last message was taken, or that none was sent yet.
	Works bool
	// LastSent is zero before the first message of this run.
	LastSent time.Time
	// Sent and Lost count messages since the start.
	Sent, Lost uint64
}

// wayPairs are Health's lines about them.
func (p *Page) wayPairs() []pair {
	if p.o.Ways == nil {
		return nil
	}
	ways := p.o.Ways()
	if len(ways) == 0 {
		if p.o.Silent != nil {
			if why := p.o.Silent(); why != "" {
				return []pair{{tWays, why}}
			}
		}
		return []pair{{tWays, tWaysNone}}
	}
	out := make([]pair, 0, len(ways))
	for _, w := range ways {
		out = append(out, pair{sprintf(tWayBy, w.Name), w.Words})
	}
	return out
}

// sendWays puts them among the metrics.
func (c *gauges) sendWays(put func(string, float64, ...string)) {
	if c.ways == nil {
		return
	}
	for _, w := range c.ways() {
		put("message_success", flag(w.Works), w.Name)
		if !w.LastSent.IsZero() {
			put("message_last_sent_timestamp_seconds", float64(w.LastSent.Unix()), w.Name)
		}
		put("messages_sent_total", float64(w.Sent), w.Name)
		put("messages_lost_total", float64(w.Lost), w.Name)
	}
}

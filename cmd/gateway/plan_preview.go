package main

import (
	"context"
	"fmt"
	"strconv"
	"strings"
	"time"

	"fabricpot/cmd/gateway/internal/season"
	"fabricpot/control"
	"fabricpot/control/alarm"
	"fabricpot/control/garden"
	"fabricpot/control/hydraulics"
	"fabricpot/sim/terrace"
)

// dayKind is a kind of weather and how long it is looked at.
type dayKind struct {
	name       string
	tmin, tmax float64
	days       int
}

func (k dayKind) weather(from time.Time, days int) []garden.DayWeather {
	out := make([]garden.DayWeather, days)
	for i := range out {
		out[i] = garden.DayWeather{
			Date: from.AddDate(0, 0, i), TMinC: garden.Known(k.tmin), TMaxC: garden.Known(k.tmax),
			RainMM: garden.Known(0), WindMS: garden.Known(2),
		}
	}
	return out
}

// opening is one opening of a line, as offsets from the first midnight.
type opening struct {
	line     garden.LineID
	from, to time.Duration
}

// preview is what one kind of day came to.
type preview struct {
	kind    dayKind
	zones   []zonePreview
	runs    []opening // of the days that are drawn
	lineL   float64
	refused int
}

// perDay is the litres a zone gets a day.
func (p *preview) perDay(zone int) float64 { return p.zones[zone].litres / float64(p.kind.days) }

type zonePreview struct{ litres, stressed float64 }

// settleDays let the simulated garden find its rhythm before it is looked at.
const settleDays = 3

func (f planFlags) preview(u *understood, day time.Time, k dayKind) (*preview, error) {
	o := terrace.DefaultOptions(f.seed, nil)
	start := day.AddDate(0, 0, -settleDays)
	p := &preview{kind: k}
	ear := &listener{p: p, from: day, to: day.AddDate(0, 0, k.days)}
	b, err := season.NewBench(u.garden, season.Options{
		Like: u.plan, Seed: f.seed, Start: start, Weather: k.weather(start, settleDays+k.days+3), Terrace: o, Tell: ear,
	})
	if err != nil {
		return nil, err
	}
	if err := b.Begin(); err != nil {
		return nil, err
	}
	begin, end := day.Sub(start), day.AddDate(0, 0, k.days).Sub(start)
	b.RunTo(begin)
	before := totals(b, u)
	b.RunTo(end)
	after := totals(b, u)
	b.End()
	for i := range after {
		p.zones = append(p.zones, zonePreview{
			litres:   after[i].AppliedL - before[i].AppliedL,
			stressed: after[i].HoursStressed - before[i].HoursStressed,
		})
	}
	return p, nil
}

func totals(b *season.Bench, u *understood) []terrace.Totals {
	b.Wires.Advance()
	out := make([]terrace.Totals, len(u.plan.Zones()))
	for i := range out {
		out[i] = b.Terrace.Totals(i)
	}
	return out
}

// listener notes when lines run.
type listener struct {
	p        *preview
	from, to time.Time
}

func (l *listener) Opened(garden.Moment, garden.Order) {}

func (l *listener) Ended(d garden.Delivery) {
	at := d.OpenedAt.Wall
	if at.Before(l.from) || !at.Before(l.to) {
		return
	}
	l.p.lineL += d.Litres
	if from := at.Sub(l.from); from < drawnDays*24*time.Hour {
		l.p.runs = append(l.p.runs, opening{line: d.Line, from: from, to: from + d.Open})
	}
}

func (l *listener) Refused(now garden.Moment, _ garden.Order, _ garden.Refusal) {
	if !now.Wall.Before(l.from) && now.Wall.Before(l.to) {
		l.p.refused++
	}
}
func (*listener) Noticed(control.Event)               {}
func (*listener) Alarmed(alarm.Change)                {}
func (*listener) Failed(garden.Moment, string, error) {}

// longestDry is as far as withoutWater looks.
const longestDry = 20 * 24 * time.Hour

// withoutWater is how long each zone, drained after a last soak at dawn, takes
// to its lower limit if nothing more comes.
func (f planFlags) withoutWater(ctx context.Context, u *understood, day time.Time, k dayKind) ([]time.Duration, error) {
	start := day.Add(6 * time.Hour)
	soil, err := terrace.New(u.garden, start, withWeather(terrace.DefaultOptions(f.seed, nil), k.weather(day, 24)))
	if err != nil {
		return nil, err
	}
	zones := u.plan.Zones()
	out := make([]time.Duration, len(zones))
	left := len(zones)
	for i := range out {
		out[i] = longestDry
	}
	for at := time.Hour; at <= longestDry && left > 0; at += time.Hour {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		soil.Advance(at)
		for i, z := range zones {
			if out[i] == longestDry && soil.MeanWater(i) <= float64(z.LowerLimit) {
				out[i] = at
				left--
			}
		}
	}
	return out, nil
}

func withWeather(o terrace.Options, rows []garden.DayWeather) terrace.Options {
	o.Weather = rows
	return o
}

// hose is a line's pipe with the emitters spread along it.
type hose struct {
	line *garden.Line
	pipe hydraulics.Pipe
}

func readHoses(u *understood, flags []string) ([]hose, error) {
	var out []hose
	for _, s := range flags {
		id, rest, ok := strings.Cut(s, "=")
		mm, m, ok2 := strings.Cut(rest, ":")
		d, err1 := strconv.ParseFloat(mm, 64)
		l, err2 := strconv.ParseFloat(m, 64)
		if !ok || !ok2 || err1 != nil || err2 != nil {
			return nil, fmt.Errorf("--hose %q: expected LINE=MM:M, such as chilli=13:12", s)
		}
		line, known := u.garden.Line(garden.LineID(id))
		if !known {
			return nil, fmt.Errorf("--hose %q: %s has no line %q", s, u.name, id)
		}
		h := hose{line: line, pipe: hydraulics.Pipe{InsideMM: d, LengthM: l, WaterC: 15}}
		if err := h.pipe.Check(); err != nil {
			return nil, fmt.Errorf("--hose %q: %w", s, err)
		}
		out = append(out, h)
	}
	return out, nil
}

// starved is how much of their head the far emitters may lose: a fifth keeps
// turbulent emitters within about a tenth of each other (a rule of the trade).
const starved = 0.2

func hoseNotes(u *understood, hoses []hose) (notes []string) {
	for _, h := range hoses {
		n := 0
		for _, o := range h.line.Outlets {
			n += o.Emitters
		}
		loss, err := h.pipe.Lateral(h.line.FlowLPH(), n)
		if err != nil {
			notes = append(notes, fmt.Sprintf("hose of line %s: %v", h.line.ID, err))
			continue
		}
		text := fmt.Sprintf("hose of line %s: %.2f m of head are lost over its %.0f m", h.line.ID, loss, h.pipe.LengthM)
		if p := u.garden.Supply.PressureKPa; p.Known {
			head := p.Value / hydraulics.KPaPerMetre
			share := loss / head
			text += fmt.Sprintf(", %.0f %% of the supply's", 100*share)
			if share > starved {
				text += fmt.Sprintf(": the far emitters starve; turbulent ones give %.0f %% there. A wider hose, or feed it from the middle", 100*hydraulics.FlowShare(1-share, 0.5))
			}
		} else {
			text += "; with the supply's pressure in the garden file it can be judged"
		}
		notes = append(notes, text)
	}
	return notes
}

package hub

import (
	"fabricpot/control/garden"
	"fabricpot/mqtt"
	"fabricpot/mqtt/report"
	"fabricpot/mqtt/topic"
)

// Own returns the garden's own retained messages for the snapshot.
func Own(tree topic.Tree, s *Snapshot) ([]mqtt.Message, error) {
	var out []mqtt.Message
	add := func(k topic.Kind, name string, v any) error {
		m, err := report.State(tree, k, name, v)
		out = append(out, m)
		return err
	}
	open := 0
	for _, l := range s.Lines {
		state := "unknown"
		switch {
		case l.Known && l.Open:
			state = "open"
			open++
		case l.Known:
			state = "closed"
		}
		if err := add(topic.Line, string(l.ID), report.Line{Name: l.Name, State: state}); err != nil {
			return nil, err
		}
	}
	for _, z := range s.Zones {
		if err := add(topic.Zone, string(z.ID), report.Zone{
			Name: z.Name, State: z.State.String(), WaterPercent: report.Number(percent(z.Water), 1), HeldL: report.Number(z.HeldL, 1),
			HoursLeft: report.Number(z.HoursLeft, 0), LastAt: report.Time(z.LastAt), LastL: report.Number(z.LastL, 1), TotalL: report.Number(z.TotalL, 1),
			FeedDue: report.Time(z.FeedDue), KeptShut: z.KeptShut, Problem: report.Text(z.Problem),
		}); err != nil {
			return nil, err
		}
	}
	for _, a := range s.Alarms {
		if err := add(topic.Alarm, a.ID, report.Alarm{Text: a.Text, Next: a.Next, Since: report.Time(a.Since), Acknowledged: a.Acknowledged}); err != nil {
			return nil, err
		}
	}
	tasks := struct {
		Tasks []report.Task `json:"tasks"`
	}{Tasks: []report.Task{}}
	for _, t := range s.Tasks {
		tasks.Tasks = append(tasks.Tasks, report.Task{ID: t.ID, Zone: string(t.Zone), Text: t.Text, Due: report.Time(t.Due)})
	}
	if err := add(topic.Tasks, "", tasks); err != nil {
		return nil, err
	}
	err := add(topic.Status, "", report.Status{
		State: "online", Name: s.Name, Version: s.Version, Automatic: s.Automatic, OpenLines: open, Alarms: len(s.Alarms),
		SupplyLPH: report.Number(s.SupplyLPH, 1), TankL: report.Number(s.TankL, 1),
	})
	return out, err
}

func percent(m garden.Measured) garden.Measured {
	m.Value *= 100
	return m
}

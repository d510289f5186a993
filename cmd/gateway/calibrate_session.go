package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"fabricpot/cmd/gateway/internal/place"
	"fabricpot/control/garden"
	"fabricpot/sensors/calibrate"
)

// Methods of a session.
const (
	methodWeight = "weight"
	methodBucket = "bucket"
	methodPoints = "points"
)

// progress is what a session has so far. It is kept after every answer, so that
// an interrupted session loses nothing.
type progress struct {
	Mix       garden.MixID
	Method    string
	Container calibrate.Container
	HeightCM  float64 // of mix in the container; 0 unknown
	Bucket    calibrate.Bucket
	// Probes are those that are read at each step; they stand in one container.
	Probes []garden.ProbeID
	// Rows are one entry for each probe and step, in the order of Probes.
	Rows  []entry
	Begun time.Time
}

// steps counts the readings of the whole container.
func (p *progress) steps() int { return len(p.Rows) / max(1, len(p.Probes)) }

// step is an answer as entries, one for each probe. What is poured is poured
// once for all of them.
func (p *progress) step(value float64) []entry {
	out := make([]entry, len(p.Probes))
	for i, id := range p.Probes {
		out[i] = entry{Probe: id, Value: value}
		if p.Method == methodBucket && i > 0 {
			out[i].Value = 0
		}
	}
	return out
}

// entry is one reading: Value is grams, litres added or water fraction.
type entry struct {
	Probe garden.ProbeID
	Volts garden.Volts
	Value float64
	TempC garden.Measured
}

func (p *progress) points() ([]calibrate.Point, error) {
	switch p.Method {
	case methodWeight:
		var rows []calibrate.Weighing
		for _, e := range p.Rows {
			rows = append(rows, calibrate.Weighing{GrossG: e.Value, Probe: e.Probe, Volts: e.Volts, TempC: e.TempC})
		}
		return calibrate.ByWeight(p.Container, rows)
	case methodBucket:
		var pours []calibrate.Pour
		for _, e := range p.Rows {
			pours = append(pours, calibrate.Pour{AddedL: e.Value, Probe: e.Probe, Volts: e.Volts, TempC: e.TempC})
		}
		return p.Bucket.Points(pours)
	}
	var out []calibrate.Point
	for _, e := range p.Rows {
		out = append(out, calibrate.Point{Probe: e.Probe, Volts: e.Volts, Water: garden.WaterFraction(e.Value), TempC: e.TempC})
	}
	return out, nil
}

// drained is the first weighing as the container's capacity, where its height is
// known.
func (p *progress) drained() *drainedTub {
	if p.Method != methodWeight || p.HeightCM <= 0 || len(p.Rows) == 0 {
		return nil
	}
	w, err := p.Container.Water(p.Rows[0].Value)
	if err != nil {
		return nil
	}
	return &drainedTub{water: w, volumeL: p.Container.VolumeL, heightCM: p.HeightCM}
}

func (p *progress) save(path string) error {
	data, err := json.MarshalIndent(p, "", " ")
	if err != nil {
		return err
	}
	err = place.File(path, 0o600, func(f *os.File) error {
		_, err := f.Write(data)
		return err
	})
	if err != nil {
		return fmt.Errorf("keep the session: %w", err)
	}
	return nil
}

func loadProgress(path string, mix garden.MixID) (*progress, error) {
	data, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("the kept session: %w", err)
	}
	var p progress
	if err := json.Unmarshal(data, &p); err != nil || p.Mix != mix || len(p.Rows) > 500 || len(p.Rows)%max(1, len(p.Probes)) != 0 {
		return nil, fmt.Errorf("the kept session %s is damaged or of another mix: move it away to begin anew", path)
	}
	if len(p.Probes) == 0 && len(p.Rows) > 0 {
		p.Probes = []garden.ProbeID{p.Rows[0].Probe} // kept before there could be several
	}
	return &p, nil
}

// session asks, reads and keeps until there are enough points.
func (f calibrateFlags) session(ctx context.Context, s streams, u *understood, mix *garden.Mix, out string) error {
	if err := f.hardwareOf(u); err != nil {
		return err
	}
	kept := filepath.Join(filepath.Dir(out), "."+filepath.Base(out)+".session")
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	ask := newAsker(ctx, s, f.patience)
	if err := ask.safety(ctx); err != nil {
		return err
	}
	p, err := f.resume(ctx, ask, kept, mix.ID)
	if err != nil {
		return err
	}
	probes, err := f.chooseProbes(u, mix, p)
	if err != nil {
		return err
	}
	tub, err := openTub(u, mix, probes, f.seed, p)
	if err != nil {
		return err
	}
	defer tub.close()
	fmt.Fprintln(s.err, "reading probe", join(p.Probes), "on", tub.where)
	if p.Method == "" {
		if err := f.begin(ctx, ask, p, tub); err != nil {
			return err
		}
		if err := p.save(kept); err != nil {
			return err
		}
	}
	if err := f.measure(ctx, ask, p, tub, kept); err != nil {
		if errors.Is(err, errLater) {
			fmt.Fprintf(s.err, "%d readings are kept; the same command goes on with them\n", p.steps())
			return nil
		}
		if len(p.Rows) > 0 {
			fmt.Fprintf(s.err, "%d readings are kept; the same command goes on with them\n", p.steps())
		}
		return err
	}
	points, err := p.points()
	if err != nil {
		return err
	}
	if err := f.finish(s, u, mix, out, points, p.drained(), "method "+p.Method); err != nil {
		fmt.Fprintf(s.err, "the readings are kept in %s\n", kept)
		return err
	}
	return os.Remove(kept)
}

var errLater = errors.New("to be continued")

// resume takes up a kept session where the person wants that.
func (f calibrateFlags) resume(ctx context.Context, ask *asker, kept string, mix garden.MixID) (*progress, error) {
	p, err := loadProgress(kept, mix)
	if err != nil {
		return nil, err
	}
	if p != nil {
		ok, err := ask.yes(ctx, fmt.Sprintf("A session by %s begun on %s has %d readings. Go on with it?", p.Method, p.Begun.Format(time.DateOnly), p.steps()), "yes")
		if err != nil {
			return nil, err
		}
		if ok {
			return p, nil
		}
		if err := place.Rename(kept, kept+".old"); err != nil {
			return nil, fmt.Errorf("the kept session: %w", err)
		}
	}
	return &progress{Mix: mix, Begun: time.Now()}, nil
}

// maxTub is how many probes a session reads: as many as one converter has inputs.
const maxTub = 4

// chooseProbes are the probes of the kept session, or those asked for, or the
// first that uses the mix's curve.
func (f calibrateFlags) chooseProbes(u *understood, mix *garden.Mix, p *progress) ([]garden.Probe, error) {
	asked := make([]garden.ProbeID, 0, len(f.probes))
	for _, id := range f.probes {
		if slices.Contains(asked, garden.ProbeID(id)) {
			return nil, wrongUse{fmt.Errorf("--probe names %s twice", id)}
		}
		asked = append(asked, garden.ProbeID(id))
	}
	if len(p.Probes) > 0 {
		if len(asked) > 0 && !slices.Equal(asked, p.Probes) {
			return nil, wrongUse{fmt.Errorf("the kept session reads %s, --probe says %s: go on without --probe, or answer no to begin anew", join(p.Probes), join(asked))}
		}
		asked = p.Probes
	}
	if len(asked) > maxTub {
		return nil, wrongUse{fmt.Errorf("--probe names %d probes, expected at most %d in one container", len(asked), maxTub)}
	}
	var all []garden.Probe
	first := garden.ProbeID("")
	u.garden.EachZone(func(pot *garden.Pot, z *garden.Zone) {
		for _, pr := range z.Probes {
			all = append(all, pr)
			if first == "" && pot.Mix == mix.ID && pr.Remote == nil {
				first = pr.ID
			}
		}
	})
	if len(asked) == 0 {
		if first == "" {
			return nil, fmt.Errorf("no probe of %s stands in mix %s: name one with --probe", u.name, mix.ID)
		}
		asked = append(asked, first)
	}
	out := make([]garden.Probe, 0, len(asked))
	for _, id := range asked {
		i := slices.IndexFunc(all, func(pr garden.Probe) bool { return pr.ID == id })
		if i < 0 {
			return nil, wrongUse{fmt.Errorf("%s has no probe %q", u.name, id)}
		}
		if all[i].Remote != nil {
			return nil, fmt.Errorf("probe %s is remote: note its volts beside the weights and use --points", id)
		}
		out = append(out, all[i])
	}
	p.Probes = asked
	return out, nil
}

func join(ids []garden.ProbeID) string {
	words := make([]string, len(ids))
	for i, id := range ids {
		words[i] = string(id)
	}
	return strings.Join(words, ", ")
}

// begin asks for the method and what it needs.
func (f calibrateFlags) begin(ctx context.Context, ask *asker, p *progress, tub *tub) (err error) {
	p.Method = f.method
	for p.Method != methodWeight && p.Method != methodBucket && p.Method != methodPoints {
		if p.Method != "" {
			fmt.Fprintf(ask.out, "  %q: expected weight, bucket or points\n", p.Method)
		}
		if p.Method, err = ask.text(ctx, "Method: weight, bucket or points", methodWeight); err != nil {
			return err
		}
	}
	num := func(into *float64, question string, lo, hi, bench float64) {
		if err != nil {
			return
		}
		*into, _, err = ask.number(ctx, question, lo, hi, tub.suggest(bench))
	}
	switch p.Method {
	case methodWeight:
		fmt.Fprintln(ask.out, "Pack the mix to the density it has in the pot, put the probe in, soak it through and let it drain until no drop falls.")
		num(&p.Container.VolumeL, "Volume of mix in the container, L", 0.2, 50, tubVolumeL)
		num(&p.HeightCM, "Depth of mix in it, cm", 2, 100, tubHeightCM)
		num(&p.Container.TareG, "Empty container with probe, g", 0, 20_000, tubTareG)
		num(&p.Container.DryG, "Dry mix alone, g (weigh a dried share of it if need be)", 1, 100_000, tubDryG)
		if err == nil {
			err = p.Container.Check()
		}
	case methodBucket:
		fmt.Fprintln(ask.out, "Dry mix in a bucket; after each pour stir until it is even and pack it to the density it has in the pot.")
		num(&p.Bucket.MixL, "Volume of the packed mix, L", 0.2, 200, tubVolumeL)
		num(&p.Bucket.StartL, "Water in it already, L (0 for oven dry)", 0, 50, 0)
	case methodPoints:
		fmt.Fprintln(ask.out, "One reading in air-dry mix and one in drained mix; more are welcome.")
	}
	return err
}

// measure asks for one reading after the other.
func (f calibrateFlags) measure(ctx context.Context, ask *asker, p *progress, tub *tub, kept string) error {
	question := map[string]string{
		methodWeight: "Weight now, g; or done, later, undo",
		methodBucket: "Water added since the last reading, mL; or done, later, undo",
		methodPoints: "Water fraction of the mix now, percent; or done, later, undo",
	}[p.Method]
	for {
		v, word, err := ask.number(ctx, question, 0, 100_000, tub.next(p), "done", "later", "undo")
		if err != nil {
			return err
		}
		switch word {
		case "done":
			return nil
		case "later":
			return errLater
		case "undo":
			if n := len(p.Rows) - len(p.Probes); n >= 0 {
				p.Rows = p.Rows[:n]
				if err := p.save(kept); err != nil {
					return err
				}
			}
			continue
		}
		switch p.Method {
		case methodBucket:
			v /= 1000
		case methodPoints:
			v /= 100
		}
		step := p.step(v)
		tub.becomes(p, step)
		if bad := tub.readAll(ctx, step); bad != nil {
			fmt.Fprintf(ask.out, "  not taken: %v\n", bad)
			continue
		}
		p.Rows = append(p.Rows, step...)
		points, err := p.points()
		if err != nil {
			p.Rows = p.Rows[:len(p.Rows)-len(step)]
			fmt.Fprintf(ask.out, "  not taken: %v\n", err)
			continue
		}
		if err := p.save(kept); err != nil {
			return err
		}
		fmt.Fprintf(ask.out, "  %d: %s, water %.1f %%\n", p.steps(), voltsOf(step), 100*float64(points[len(points)-1].Water))
	}
}

// voltsOf says what was read; names only where there are several.
func voltsOf(step []entry) string {
	words := make([]string, len(step))
	for i, e := range step {
		words[i] = fmt.Sprintf("%.4f V", float64(e.Volts))
		if len(step) > 1 {
			words[i] = string(e.Probe) + " " + words[i]
		}
	}
	return strings.Join(words, ", ")
}

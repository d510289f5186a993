package season

import (
	"context"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"

	"fabricpot/cmd/gateway/internal/place"
)

// TrialOptions say where finished runs are kept.
type TrialOptions struct {
	// Dir gets a folder "runs" with one file per finished run; a later trial in
	// the same Dir takes up from there.
	Dir string
	// Program is what the runs depend on besides their settings: runs of
	// another program are done anew.
	Program string
	// Workers is how many runs go side by side; 0 means a processor each.
	Workers int
	// Done, which may be nil, is told of each run that is there. Calls come one
	// at a time.
	Done func()
}

// keptRun is a finished run on disk.
type keptRun struct {
	Key string   `json:"key"`
	Run TrialRun `json:"run"`
}

// Trials does every run of a set that is not finished yet, side by side. The
// order of the result does not depend on who finished first. A context that ends
// stops it; what is finished stays.
func Trials(ctx context.Context, set TrialSet, o TrialOptions) ([]TrialRun, error) {
	dir := filepath.Join(o.Dir, "runs")
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, fmt.Errorf("trial: %w", err)
	}
	jobs := set.jobs()
	out, errs := make([]TrialRun, len(jobs)), make([]error, len(jobs))
	if o.Workers <= 0 {
		o.Workers = runtime.GOMAXPROCS(0)
	}
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	var (
		lab  = newTrialLab()
		next = make(chan int)
		wait sync.WaitGroup
		mu   sync.Mutex
	)
	for range o.Workers {
		wait.Go(func() {
			for i := range next {
				out[i], errs[i] = lab.kept(ctx, jobs[i], dir, o.Program)
				if errs[i] != nil {
					stop()
					continue
				}
				if o.Done != nil {
					mu.Lock()
					o.Done()
					mu.Unlock()
				}
			}
		})
	}
	for i := range jobs {
		select {
		case next <- i:
			continue
		case <-ctx.Done():
		}
		break
	}
	close(next)
	wait.Wait()
	// The first failure that is not somebody else's stop.
	for _, err := range errs {
		if err != nil && !errors.Is(err, context.Canceled) {
			return nil, err
		}
	}
	return out, ctx.Err()
}

// kept takes a run from disk or does it and puts it there.
func (l *trialLab) kept(ctx context.Context, j trialJob, dir, program string) (TrialRun, error) {
	settings, err := json.Marshal(struct {
		Case    TrialCase
		Off     float64
		Policy  string
		Seed    uint64
		Program string
	}{j.c, j.c.Fault.water, j.name, j.seed, program})
	if err != nil {
		return TrialRun{}, fmt.Errorf("trial: %w", err)
	}
	key := fmt.Sprintf("%x", sha256.Sum256(settings))
	path := filepath.Join(dir, fmt.Sprintf("%s--%s--%d.json", slug(j.c.Group+" "+j.c.Name), slug(j.name), j.seed))
	var kept keptRun
	if src, err := os.ReadFile(path); err == nil && json.Unmarshal(src, &kept) == nil && kept.Key == key {
		return kept.Run, nil
	}
	run, err := l.run(ctx, j.c, j.name, j.seed)
	if err != nil {
		return TrialRun{}, err
	}
	src, err := json.Marshal(keptRun{key, run})
	if err == nil {
		err = place.File(path, 0o644, func(f *os.File) error {
			_, err := f.Write(src)
			return err
		})
	}
	if err != nil {
		return TrialRun{}, fmt.Errorf("trial: keep a run: %w", err)
	}
	return run, nil
}

// slug makes a file name of words.
func slug(s string) string {
	return strings.Trim(strings.Map(func(r rune) rune {
		switch {
		case r >= 'a' && r <= 'z', r >= '0' && r <= '9', r == '.', r == '-', r == '+':
			return r
		case r >= 'A' && r <= 'Z':
			return r + 'a' - 'A'
		}
		return '-'
	}, s), "-")
}

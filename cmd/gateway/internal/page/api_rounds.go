package page

import (
	"context"
	"encoding/json"
	"net/http"

	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/feeding"
	"fabricpot/control/garden"
	"fabricpot/control/task"
)

// Work is what the handlers of the gardener's list need of the running loop.
// *runner.Desk is one.
type Work interface {
	Rounds(ctx context.Context) (runner.Rounds, error)
	TaskDone(ctx context.Context, id string, r task.Report, who string) error
	TaskDropped(ctx context.Context, id, reason string) error
	Note(ctx context.Context, o runner.Observation, who string) (feeding.Noted, error)
}

// DoneRequest is what the done command sends.
type DoneRequest struct {
	Task string `json:"task"`
	// Litres is what was given, where it was said.
	Litres *float64 `json:"litres,omitempty"`
	Note   string   `json:"note,omitempty"`
	// Again confirms that it was done a second time.
	Again bool `json:"again,omitempty"`
	// Drop is why it won't be done, instead of done.
	Drop string `json:"drop,omitempty"`
}

// Report is the request as a task's report.
func (d DoneRequest) Report() task.Report {
	r := task.Report{Note: d.Note, Again: d.Again}
	if d.Litres != nil {
		r.Litres = garden.Known(*d.Litres)
	}
	return r
}

// WithWork adds the gardener's list to the handlers that commands talk to.
func WithWork(inner http.Handler, g Work) http.Handler {
	mux := http.NewServeMux()
	mux.Handle("/", inner)
	const socket = "control socket"
	mux.HandleFunc("GET /rounds", func(w http.ResponseWriter, r *http.Request) {
		reply(w)(g.Rounds(r.Context()))
	})
	mux.HandleFunc("POST /done", func(w http.ResponseWriter, r *http.Request) {
		var in DoneRequest
		if !decode(w, r, &in) {
			return
		}
		err := error(nil)
		if in.Drop != "" {
			err = g.TaskDropped(r.Context(), in.Task, in.Drop)
		} else {
			err = g.TaskDone(r.Context(), in.Task, in.Report(), socket)
		}
		reply(w)(struct{}{}, err)
	})
	mux.HandleFunc("POST /note", func(w http.ResponseWriter, r *http.Request) {
		var in runner.Observation
		if decode(w, r, &in) {
			reply(w)(g.Note(r.Context(), in, socket))
		}
	})
	return mux
}

// decode reads a strict JSON body, or refuses it and returns false.
func decode(w http.ResponseWriter, r *http.Request, in any) bool {
	dec := json.NewDecoder(http.MaxBytesReader(w, r.Body, maxBody))
	dec.DisallowUnknownFields()
	if err := dec.Decode(in); err != nil {
		Refuse(w, http.StatusBadRequest, "not a request: "+err.Error())
		return false
	}
	return true
}

// reply answers with a value, or with the reason why there is none.
func reply(w http.ResponseWriter) func(any, error) {
	return func(v any, err error) {
		if err != nil {
			Refuse(w, http.StatusConflict, err.Error())
			return
		}
		Answer(w, v)
	}
}

package page

import (
	"context"
	"encoding/json"
	"net/http"
	"time"

	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/garden"
)

// Gateway is what the handlers need of the running loop.
type Gateway interface {
	// Status returns the last published state.
	Status() *runner.Status
	// CloseAll closes every line and turns automatic control off.
	CloseAll(ctx context.Context, who string) (runner.CloseReport, error)
	// Automatic turns automatic control on or off.
	Automatic(ctx context.Context, on bool, who string) error
	// Ask hands in a request for the next tick. Nothing else from here can
	// touch a valve, and the permit has the last word.
	Ask(ctx context.Context, a garden.Ask) error
	// KeepShut keeps a zone shut for a time from now on.
	KeepShut(ctx context.Context, zone garden.ZoneID, span time.Duration, who string) error
}

// maxBody bounds what any request may carry.
const maxBody = 64 << 10

// NewAPI returns the handlers that commands talk to.
func NewAPI(g Gateway) http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /status", func(w http.ResponseWriter, _ *http.Request) {
		st := g.Status()
		if st == nil {
			Refuse(w, http.StatusServiceUnavailable, "the gateway is still closing its lines; ask again in a moment")
			return
		}
		Answer(w, st)
	})
	mux.HandleFunc("POST /close-all", func(w http.ResponseWriter, r *http.Request) {
		rep, err := g.CloseAll(r.Context(), "control socket")
		if err != nil {
			Refuse(w, http.StatusInternalServerError, err.Error())
			return
		}
		Answer(w, rep)
	})
	mux.HandleFunc("POST /automatic", func(w http.ResponseWriter, r *http.Request) {
		var in struct {
			On *bool `json:"on"`
		}
		dec := json.NewDecoder(http.MaxBytesReader(w, r.Body, maxBody))
		dec.DisallowUnknownFields()
		if err := dec.Decode(&in); err != nil || in.On == nil {
			Refuse(w, http.StatusBadRequest, `expected {"on": true} or {"on": false}`)
			return
		}
		if err := g.Automatic(r.Context(), *in.On, "control socket"); err != nil {
			Refuse(w, http.StatusInternalServerError, err.Error())
			return
		}
		Answer(w, struct{}{})
	})
	plantRoutes(mux, g)
	return mux
}

// NewServer wraps handlers in a server with time-outs, so that a slow or silent
// peer can't hold it.
func NewServer(h http.Handler) *http.Server {
	return &http.Server{
		Handler:           h,
		ReadHeaderTimeout: 5 * time.Second,
		ReadTimeout:       10 * time.Second,
		WriteTimeout:      60 * time.Second,
		IdleTimeout:       60 * time.Second,
		MaxHeaderBytes:    16 << 10,
	}
}

// Answer writes v as the JSON answer to a command.
func Answer(w http.ResponseWriter, v any) {
	w.Header().Set("Content-Type", "application/json; charset=utf-8")
	// The peer may be gone; there is nobody left to tell.
	_ = json.NewEncoder(w).Encode(v)
}

// Refuse answers a command with a status over 399 and why, as a Client reads it.
func Refuse(w http.ResponseWriter, code int, why string) {
	w.Header().Set("Content-Type", "application/json; charset=utf-8")
	w.WriteHeader(code)
	_ = json.NewEncoder(w).Encode(map[string]string{"error": why})
}

package main

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"time"

	"fabricpot/cmd/gateway/internal/page"
)

// listen reads the file again at each SIGHUP, until the returned function has
// ended that and what still waits.
func (r *reloader) listen(ctx context.Context) (stop func()) {
	asked := make(chan struct{}, 1)
	over, ended := make(chan struct{}), make(chan struct{})
	release := hangupOf(ctx).Take(func() {
		select {
		case asked <- struct{}{}:
		default:
		}
	})
	go func() {
		defer close(ended)
		for {
			select {
			case <-asked:
				r.Read(ctx, hangupPatience, "SIGHUP", "")
			case <-over:
				return
			}
		}
	}()
	return func() {
		release()
		close(over)
		<-ended
		r.Stop()
	}
}

// serve answers over the control socket.
func (r *reloader) serve(next http.Handler) http.Handler {
	mux := http.NewServeMux()
	mux.Handle("/", next)
	mux.HandleFunc("POST /reload", func(w http.ResponseWriter, q *http.Request) {
		var in struct {
			PatienceS float64 `json:"patience_s"`
		}
		dec := json.NewDecoder(http.MaxBytesReader(w, q.Body, 4096))
		dec.DisallowUnknownFields()
		if err := dec.Decode(&in); err != nil || !(in.PatienceS >= 0 && in.PatienceS <= mostReloadWait.Seconds()) {
			page.Refuse(w, http.StatusBadRequest, fmt.Sprintf(`expected {"patience_s": SECONDS}, 0 to %.0f`, mostReloadWait.Seconds()))
			return
		}
		page.Answer(w, r.Read(q.Context(), time.Duration(in.PatienceS*float64(time.Second)), "gateway reload", q.URL.Query().Get("ask")))
	})
	mux.HandleFunc("GET /reload", func(w http.ResponseWriter, _ *http.Request) { page.Answer(w, r.report()) })
	mux.HandleFunc("DELETE /reload", func(w http.ResponseWriter, q *http.Request) {
		ask := q.URL.Query().Get("ask")
		if ask == "" {
			page.Refuse(w, http.StatusBadRequest, "expected ?ask=, what the request to take back was marked with")
			return
		}
		page.Answer(w, r.Withdraw(ask))
	})
	return mux
}

package expose

import (
	"compress/gzip"
	"fmt"
	"net/http"
	"strconv"
	"strings"
	"time"
)

// Handler answers with what collect adds, packed where the client takes that. No
// more than so many are answered at a time, none for longer than patience.
// "name[]" in the query asks for single figures.
func Handler(collect func(*Figures), most int, patience time.Duration) http.Handler {
	busy := make(chan struct{}, most)
	h := http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		select {
		case busy <- struct{}{}:
			defer func() { <-busy }()
		default:
			http.Error(w, fmt.Sprintf("%d are answered at a time; try again later.", most), http.StatusServiceUnavailable)
			return
		}
		var f Figures
		collect(&f)
		text, err := f.Text(r.URL.Query()["name[]"]...)
		if err != nil {
			http.Error(w, "metrics: "+err.Error(), http.StatusInternalServerError)
			return
		}
		w.Header().Set("Content-Type", "text/plain; version=0.0.4; charset=utf-8; escaping=underscores")
		w.Header().Add("Vary", "Accept-Encoding")
		if !takesGzip(r) {
			_, _ = w.Write(text) // the reader may be gone
			return
		}
		w.Header().Set("Content-Encoding", "gzip")
		z := gzip.NewWriter(w)
		_, _ = z.Write(text)
		_ = z.Close()
	})
	return http.TimeoutHandler(h, patience, fmt.Sprintf("no answer within %v\n", patience))
}

// takesGzip reads Accept-Encoding (RFC 9110, section 12.5.3); one that names
// gzip with no weight above zero refuses it.
func takesGzip(r *http.Request) bool {
	for _, part := range strings.Split(strings.Join(r.Header.Values("Accept-Encoding"), ","), ",") {
		name, params, _ := strings.Cut(part, ";")
		if !strings.EqualFold(strings.TrimSpace(name), "gzip") {
			continue
		}
		_, weight, given := strings.Cut(params, "=")
		q, err := strconv.ParseFloat(strings.TrimSpace(weight), 64)
		return !given || err == nil && q > 0
	}
	return false
}

package page

import (
	"net/http"
	"strconv"
	"time"

	"fabricpot/cmd/gateway/internal/runner"
)

// confirmClock takes the word that the clock, which showed a time, is right.
func (p *Page) confirmClock(w http.ResponseWriter, r *http.Request, v *visit) {
	st, ok := p.status(w, r, v)
	if !ok {
		return
	}
	got := r.PostForm.Get("shown")
	seconds, err := strconv.ParseInt(got, 10, 64)
	if err != nil || p.o.ConfirmClock == nil {
		p.refuse(w, r, v, fault{http.StatusBadRequest, tErrChoice, tErrChoiceTx + " " + tNothing, "/health", tHealth})
		return
	}
	if !p.spend(w, r, v, clockPurpose(got), "/health") {
		return
	}
	ctx, cancel := within(r.Context())
	defer cancel()
	if err := p.o.ConfirmClock(ctx, time.Unix(seconds, 0).In(st.At.Location()), who); err != nil {
		p.failed(w, r, v, err, "/health")
		return
	}
	p.done(w, r, "/health", tClockDone)
}

func clockPurpose(shown string) string { return "clock " + shown }

// clockForm fills in what is asked about a clock that nothing confirmed.
func (p *Page) clockForm(m *healthModel, st *runner.Status, v *visit) {
	if st.Synced || p.o.ConfirmClock == nil {
		return
	}
	m.ClockShown = strconv.FormatInt(st.At.Unix(), 10)
	m.ClockAsk = sprintf(tClockAsk, st.At.Format("Monday 2 January 2006 15:04"))
	m.ClockTicket = p.tickets.issue(v.session, clockPurpose(m.ClockShown))
}

// disk writes what is free where the journal is.
func (p *Page) disk() (pair, bool) {
	if p.o.Disk == nil {
		return pair{}, false
	}
	free, total, err := p.o.Disk()
	if err != nil || total == 0 {
		return pair{tDisk, sprintf(tDiskBad, err)}, true
	}
	words := sprintf(tDiskFree, bytesWords(free), bytesWords(total))
	if free < fullDisk {
		words += ". " + tDiskLow
	}
	return pair{tDisk, words}, true
}

// fullDisk is under what the journal is in danger: some seasons of it.
const fullDisk = 200 << 20

func bytesWords(n uint64) string {
	if n >= 1<<30 {
		return sprintf("%.1f"+apart+"GiB", float64(n)/(1<<30))
	}
	return sprintf("%.0f"+apart+"MiB", float64(n)/(1<<20))
}

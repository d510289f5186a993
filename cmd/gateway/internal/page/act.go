package page

import (
	"context"
	"errors"
	"net/http"
	"strings"
	"time"

	"fabricpot/cmd/gateway/internal/units"
	"fabricpot/control/garden"
)

// who is how the journal names what came from the page.
const who = "page"

// spend uses a form's ticket up, or shows that it is used up already.
func (p *Page) spend(w http.ResponseWriter, r *http.Request, v *visit, purpose, back string) bool {
	err := p.tickets.spend(r.PostForm.Get("ticket"), v.session, purpose)
	switch {
	case err == nil:
		return true
	case errors.Is(err, errMany):
		p.refuse(w, r, v, fault{http.StatusTooManyRequests, tErrWait, tErrWaitTx + " " + tNothing, back, tBack})
	default:
		p.refuse(w, r, v, fault{http.StatusConflict, tErrStale, tErrStaleTx + " " + tNothing, back, tBack})
	}
	return false
}

// failed shows that the gateway did not do what was asked.
func (p *Page) failed(w http.ResponseWriter, r *http.Request, v *visit, err error, back string) {
	p.refuse(w, r, v, fault{http.StatusServiceUnavailable, tErrFailed, sprintf(tErrFailedTx, err), back, tBack})
}

// amount reads a volume from a form, in litres, and refuses what can't be meant.
func amount(value, unit string, most float64) (float64, bool) {
	if len(value) > 40 || unit != "L" && unit != "gal" {
		return 0, false
	}
	// A phone's keyboard may write a comma.
	litres, err := units.Volume().Parse(strings.Replace(strings.TrimSpace(value), ",", ".", 1) + " " + unit)
	return litres, err == nil && garden.Finite(litres) && litres >= 0.01 && litres <= most*(1+1e-9)
}

// refuseAmount shows what would have been an amount.
func (p *Page) refuseAmount(w http.ResponseWriter, r *http.Request, v *visit, got string, most float64, back string) {
	p.refuse(w, r, v, fault{http.StatusBadRequest, tErrAmount, sprintf(tErrAmountTx, v.volume(most), brief(got)) + " " + tNothing, back, tBack})
}

// actTimeout bounds how long a form waits for the loop.
const actTimeout = 10 * time.Second

func within(ctx context.Context) (context.Context, context.CancelFunc) {
	return context.WithTimeout(ctx, actTimeout)
}

func (p *Page) ask(r *http.Request, a garden.Ask) error {
	ctx, cancel := within(r.Context())
	defer cancel()
	return p.o.Gateway.Ask(ctx, a)
}

func (p *Page) keepShut(r *http.Request, zone garden.ZoneID, d time.Duration) error {
	ctx, cancel := within(r.Context())
	defer cancel()
	return p.o.Gateway.KeepShut(ctx, zone, d, who)
}

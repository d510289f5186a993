package page

import (
	"context"
	"encoding/json"
	"net/http"

	"fabricpot/control/garden"
)

// Plants is what the handler of plant events needs of the running loop.
// *runner.Desk is one.
type Plants interface {
	// Plant tells also that what the event names stands on all the same.
	Plant(ctx context.Context, e garden.PlantEvent, who string) (stands bool, err error)
}

// plantRoutes adds POST /plant where the gateway takes plant events: a
// garden.PlantEvent in, a Planted out.
func plantRoutes(mux *http.ServeMux, g Gateway) {
	plants, ok := g.(Plants)
	if !ok {
		return
	}
	mux.HandleFunc("POST /plant", func(w http.ResponseWriter, r *http.Request) {
		var e garden.PlantEvent
		dec := json.NewDecoder(http.MaxBytesReader(w, r.Body, maxBody))
		dec.DisallowUnknownFields()
		if err := dec.Decode(&e); err != nil {
			Refuse(w, http.StatusBadRequest, "expected a plant event: "+err.Error())
			return
		}
		stands, err := plants.Plant(r.Context(), e, "control socket")
		if err != nil {
			Refuse(w, http.StatusBadRequest, err.Error())
			return
		}
		Answer(w, Planted{stands})
	})
}

// Planted is what became of a plant event: Stands as control.Plan's Outlives.
type Planted struct {
	Stands bool `json:"stands"`
}

package valve

import (
	"fmt"
	"strconv"
	"strings"

	"fabricpot/control/garden"
	"fabricpot/mqtt/payload"
)

// command is what a node receives.
type command struct {
	// ID names the command; the node's next states carry it.
	ID string `json:"id"`
	// Do is "open" or "close".
	Do string `json:"do"`
	// Order is the order an opening belongs to, in digits.
	Order string `json:"order,omitzero"`
	// Seconds is how long the node may stay open, ≥ 1.
	Seconds int64 `json:"seconds,omitzero"`
	// NotAfter is the Unix second after which a node with a clock ignores an
	// open command; absent where our own clock is not certain.
	NotAfter int64 `json:"not_after,omitzero"`
}

// heard is a decoded state.
type heard struct {
	open bool
	// ack is the id of the last command obeyed, order that of the opening.
	ack    string
	order  garden.OrderID
	seq    uint64
	hasSeq bool
	// lost: the broker speaks for a node that has gone.
	lost bool
}

type wireState struct {
	State string  `json:"state"`
	Ack   string  `json:"ack"`
	Order string  `json:"order"`
	Seq   *uint64 `json:"seq"`
}

// decodeState reads a node's state.
func decodeState(b []byte) (heard, error) {
	var w wireState
	if err := payload.Lenient(b, &w); err != nil {
		return heard{}, err
	}
	h := heard{ack: w.Ack}
	switch w.State {
	case "open":
		h.open = true
	case "closed":
	case "lost":
		h.lost = true
	default:
		return heard{}, fmt.Errorf("state %.32q, expected open, closed or lost", w.State)
	}
	if len(w.Ack) > 64 {
		return heard{}, fmt.Errorf("ack of %d bytes, expected at most 64", len(w.Ack))
	}
	if w.Order != "" {
		n, err := strconv.ParseUint(w.Order, 10, 64)
		if err != nil {
			return heard{}, fmt.Errorf("order %.32q, expected digits", w.Order)
		}
		h.order = garden.OrderID(n)
	}
	if w.Seq != nil {
		h.seq, h.hasSeq = *w.Seq, true
	}
	return h, nil
}

// decodePlain reads the word of a plain device.
func decodePlain(b []byte, p *garden.PlainValve) (heard, error) {
	if err := payload.Check(b); err != nil {
		return heard{}, err
	}
	word := strings.TrimSpace(string(b))
	if p.StatePath != "" {
		var err error
		if word, err = payload.Word(b, p.StatePath); err != nil {
			return heard{}, err
		}
	}
	switch word {
	case p.On:
		return heard{open: true}, nil
	case p.Off:
		return heard{}, nil
	}
	return heard{}, fmt.Errorf("state %.32q, expected %q or %q", word, p.On, p.Off)
}

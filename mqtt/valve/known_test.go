package valve

import (
	"encoding/json"
	"testing"
	"time"

	"pgregory.net/rapid"

	"fabricpot/control/garden"
	"fabricpot/mqtt"
	"fabricpot/sim/node"
	"fabricpot/valves"
)

// TestKnownClosedIsClosed drives the reference node over a line that delays,
// drops and reorders its words, cuts connections and restarts the node, and
// checks the one thing that matters: where the gateway knows a valve to be
// closed, it is closed; and never is one open longer than it was told, or twice
// for one order.
func TestKnownClosedIsClosed(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := newDesk(t, nil)
		coil, opened, openings := false, time.Duration(0), map[string]int{}
		var words [][]byte
		var n *node.Node
		boot := func() {
			n = &node.Node{Coil: func(o bool) {
				if o && !coil {
					opened = d.now
				}
				coil = o
			}, Publish: func(b []byte) { words = append(words, b) }}
			n.Coil(false)
		}
		boot()
		taken := 0
		obey := func() {
			for ; taken < len(d.sent); taken++ {
				was := coil
				n.Command(d.now, d.sent[taken].Payload)
				var c command
				_ = json.Unmarshal(d.sent[taken].Payload, &c)
				if coil && !was {
					openings[c.Order]++
				}
			}
		}
		hear := func(i int) {
			_ = d.v.Take(mqtt.Message{Topic: d.v.state, Payload: words[i], At: d.moment()})
			words = append(words[:i], words[i+1:]...)
		}
		check := func() {
			if closed, known := d.v.Closed(); closed && known && coil {
				t.Fatalf("said to be closed and known, and the coil is energised")
			}
			if coil && d.now-opened > 61*time.Second {
				t.Fatalf("open for %v", d.now-opened)
			}
			for o, k := range openings {
				if k > 1 {
					t.Fatalf("order %s opened %d times", o, k)
				}
			}
		}
		for range rapid.IntRange(5, 60).Draw(t, "steps") {
			switch rapid.IntRange(0, 9).Draw(t, "event") {
			case 0, 1:
				obey()
			case 2, 3:
				if len(words) > 0 {
					hear(rapid.IntRange(0, len(words)-1).Draw(t, "which"))
				}
			case 4:
				if len(words) > 0 {
					words = words[1:]
				}
			case 5:
				d.step(time.Duration(rapid.IntRange(1, 40).Draw(t, "seconds")) * time.Second)
				n.Tick(d.now)
			case 6:
				d.n++
				d.g.Request(d.moment(), valves.Env{}, garden.Order{ID: garden.OrderID(d.n), Line: "l", Zone: "z", Litres: 0.1, MaxOn: 60 * time.Second, Kind: garden.ByHand})
			case 7: // the link is cut; commands under way are gone
				taken = len(d.sent)
				n.LinkLost()
				words = nil
				d.link(false)
				d.link(true)
				n.LinkUp(d.now)
			case 8:
				// A node that reboots closes; what it had not read is gone.
				taken = len(d.sent)
				boot()
				n.LinkUp(d.now)
			case 9:
				d.g.Stop(d.moment(), "l")
			}
			check()
		}
	})
}

func FuzzState(f *testing.F) {
	f.Add([]byte(`{"state":"open","ack":"run-1","order":"1","left_s":3,"seq":2}`))
	f.Add([]byte(`{"state":"closed","seq":18446744073709551615}`))
	f.Add([]byte("ON"))
	f.Add([]byte(`{"a":"ON"}`))
	p := &garden.PlainValve{On: "ON", Off: "OFF", StatePath: "/a"}
	f.Fuzz(func(t *testing.T, b []byte) {
		_, _ = decodeState(b)
		_, _ = decodePlain(b, p)
		_, _ = decodePlain(b, &garden.PlainValve{On: "ON", Off: "OFF"})
		d := newDesk(t, nil)
		d.say(string(b))
		if _, known := d.v.Closed(); known {
			var s wireState
			if json.Unmarshal(b, &s) != nil || s.Ack != d.v.id {
				t.Fatalf("confirmed by %q", b)
			}
		}
		coil := false
		n := node.Node{Coil: func(o bool) { coil = o }, Publish: func([]byte) {}}
		n.Command(0, b)
		n.Tick(25 * time.Hour)
		if coil {
			t.Fatalf("open for ever after %q", b)
		}
	})
}

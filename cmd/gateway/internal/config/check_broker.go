package config

import (
	"fmt"
	"net"
	"strings"

	"fabricpot/control/garden"
	"fabricpot/mqtt/topic"
	"fabricpot/mqtt/valve"
)

// linkBroker fills in what a garden's broker needs.
func (r *reader) linkBroker(b garden.Broker) garden.Broker {
	for _, f := range []*string{&b.PasswordFile, &b.CAFile, &b.CertFile, &b.KeyFile} {
		r.beside(f)
	}
	for i := range b.Accounts {
		r.beside(&b.Accounts[i].PasswordFile)
	}
	return b
}

// checkBroker reports what the broker's section contradicts, and what hangs on
// a broker that is not there.
func (r *reader) checkBroker(g *garden.Garden) {
	const path = "broker"
	if b := g.Broker; r.sound(path + ".url") {
		embedded := b.URL == garden.EmbeddedBroker
		secure := strings.HasPrefix(b.URL, "mqtts://")
		if p := path + ".login-file"; embedded && r.src.given(p) {
			r.say(p, "the embedded broker knows us without it", "", "accounts for others, or another broker's url")
		}
		for _, key := range []string{"listen", "accounts"} {
			if p := path + "." + key; !embedded && r.src.given(p) {
				r.say(p, "belongs to the embedded broker", "", "it with url: embedded")
			}
		}
		for _, key := range []string{"ca-file", "cert-file", "key-file", "server-name"} {
			if p := path + "." + key; !embedded && !secure && r.src.given(p) {
				r.say(p, "is of no use without TLS", "", "url: mqtts://HOST:PORT")
			} else if embedded && !r.src.given(path+".cert-file") && r.src.given(p) && key != "key-file" {
				r.say(p, "is of no use without TLS", "", "cert-file and key-file beside it")
			}
		}
		if one, other := r.src.given(path+".cert-file"), r.src.given(path+".key-file"); one != other {
			r.say(path, "a certificate and no key, or a key and no certificate", "", "both cert-file and key-file")
		}
		if embedded && r.sound(path+".listen") && len(b.Accounts) == 0 && !onlyHere(b.Listen) {
			r.say(path+".listen", "others can reach it and there is no account", quote(b.Listen), "accounts, or an address of this machine alone such as 127.0.0.1:1883")
		}
		for i, in := range b.Sky {
			r.checkSky(fmt.Sprintf("%s.weather.%d", path, i+1), in)
		}
	}
	for i := range g.Lines {
		at := "lines." + string(g.Lines[i].ID) + ".valve.plain"
		if p := g.Lines[i].Valve.Plain; p != nil && r.sound(at) && p.On == p.Off {
			r.say(at, "one word for open and closed", quote(p.On), "two words")
		} else if p != nil && r.sound(at) && p.Set == p.State {
			r.say(at, "one topic for its word and its state, on which our own word would pass for the device's", quote(p.Set), "two topics")
		}
	}
	r.checkRights(g)
	r.checkRemoteProbes(g)
	if at := firstRemote(r, g); at != "" && !r.src.given(path) {
		r.say(at, "a remote device and no broker", "", "broker: with its url")
	}
}

// checkRights warns of an account that may command a valve past the permit. The broker
// refuses that in any case, so the grant is not what it seems; a garden that has run with
// it, such as with all of the gateway's topics for a hub, goes on to be watered.
func (r *reader) checkRights(g *garden.Garden) {
	tree, err := topic.NewTree(g.Broker.Prefix, g.Site.ID)
	if err != nil {
		return // said where it is written
	}
	owns := valve.Commanded(tree, g.Lines)
	for i, a := range g.Broker.Accounts {
		for j, granted := range a.Publish {
			at := fmt.Sprintf("broker.accounts.%d.may-publish.%d", i+1, j+1)
			if !r.sound(at) {
				continue
			}
			for _, own := range owns {
				if topic.Overlaps(granted, own) {
					r.warn(at, "takes in what opens a valve past all limits, which the broker refuses all the same", quote(granted),
						fmt.Sprintf("topics that leave out %s, which the gateway alone may write; people ask on %s, nodes answer on %s",
							own, tree.Of(topic.Do, ""), tree.All(topic.ValveState)))
					break
				}
			}
		}
	}
}

// firstRemote is where the first remote device stands; "" where there is none.
func firstRemote(r *reader, g *garden.Garden) string {
	for _, p := range g.ProbeList() {
		if p.Remote != nil {
			return r.src.aliases["probes."+string(p.ID)] + ".remote"
		}
	}
	for i := range g.Lines {
		if g.Lines[i].Valve.Kind == garden.RemoteValve {
			return "lines." + string(g.Lines[i].ID) + ".valve"
		}
	}
	return ""
}

// onlyHere reports whether nobody but this machine can reach the address.
func onlyHere(addr string) bool {
	host, _, err := net.SplitHostPort(addr)
	ip := net.ParseIP(host)
	return err == nil && (host == "localhost" || ip != nil && ip.IsLoopback())
}

func (r *reader) checkSky(path string, in garden.SkyInput) {
	if !r.sound(path, path+".quantity") {
		return
	}
	fit := map[garden.SkyQuantity]string{
		garden.SkyTemperature: "C or F", garden.SkyHumidity: "%", garden.SkyWind: "m/s or km/h or mph or kn", garden.SkyRadiation: "W/m2",
		garden.SkyRain: "mm or in", garden.SkyRainTotal: "mm or in",
	}[in.Quantity]
	switch {
	case in.Quantity == garden.SkyDays:
		for _, key := range []string{"pointer", "unit"} {
			if p := path + "." + key; r.src.given(p) {
				r.say(p, "a forecast names its own units", "", "no such key with days")
			}
		}
		return
	case in.Unit == "":
		r.say(path, `no "unit"`, "", fit)
	case !strings.Contains(" "+fit+" ", " "+in.Unit+" "):
		r.say(path+".unit", "not a unit of "+string(in.Quantity), quote(in.Unit), fit)
	}
	if in.Topic == "" {
		r.say(path, `no "topic"`, "", "the topic it arrives on")
	}
}

// checkRemoteProbes sees that each probe is somewhere, and each message one
// probe's.
func (r *reader) checkRemoteProbes(g *garden.Garden) {
	type source struct{ topic, pointer string }
	taken := map[source]garden.ProbeID{}
	for _, p := range g.ProbeList() {
		path := r.src.aliases["probes."+string(p.ID)]
		wired, far := r.src.given(path+".input"), r.src.given(path+".remote")
		switch {
		case wired && far:
			r.say(path, "both an input and remote", "", "one of the two")
			continue
		case !wired && !far && r.sound(path):
			r.say(path, `no "input"`, "", "input: where it is wired, such as 0x48/0, or remote: what it publishes")
			continue
		case p.Remote == nil || !r.sound(path+".remote"):
			continue
		}
		in := p.Remote
		at := path + ".remote"
		counts := in.Quantity == garden.RemoteCounts
		switch given := r.src.given(at + ".volts-per-count"); {
		case counts && !given:
			r.say(at, `no "volts-per-count"`, "", "what one count is worth, such as 0.125 mV")
		case given && !counts:
			r.say(at+".volts-per-count", "belongs to counts", "", "it with quantity: counts")
		}
		if in.Topic == "" {
			for _, key := range []string{"pointer", "sequence", "time"} {
				if p := at + "." + key; r.src.given(p) {
					r.say(p, "the garden's own topic has a format of its own", "", "topic beside it")
				}
			}
			continue
		}
		for _, key := range []string{"sequence", "time"} {
			if p := at + "." + key; r.src.given(p) && in.Value == "" {
				r.say(p, "stands alone in a JSON document", "", "pointer beside it")
			}
		}
		s := source{in.Topic, in.Value}
		if other, twice := taken[s]; twice {
			r.say(at, "two probes on one topic", quote(in.Topic), fmt.Sprintf("a topic or pointer that probe %q does not use", other))
			continue
		}
		taken[s] = p.ID
	}
}

package config

import (
	"net"
	"net/url"
	"path/filepath"
	"strings"
	"time"
	"unicode"

	"fabricpot/cmd/gateway/internal/units"
	"fabricpot/control/garden"
	"fabricpot/mqtt/payload"
	"fabricpot/mqtt/topic"
)

func brokerTable() object[*garden.Broker] {
	filters := func(at func(*garden.BrokerAccount) *[]string) kind[*garden.BrokerAccount] {
		return list("topic filters, such as fabricpot/roof/probe/tap", of(topicFilter(), self[string]), at)
	}
	account := object[*garden.BrokerAccount]{"an account", []field[*garden.BrokerAccount]{
		{"login-file", "its user and password, on two lines of a file that only its owner can read", true, of(fileName(), func(a *garden.BrokerAccount) *string { return &a.PasswordFile })},
		{"may-publish", "what it may publish to", false, filters(func(a *garden.BrokerAccount) *[]string { return &a.Publish })},
		{"may-subscribe", "what it may subscribe to", false, filters(func(a *garden.BrokerAccount) *[]string { return &a.Subscribe })},
	}}
	return object[*garden.Broker]{"the broker", []field[*garden.Broker]{
		{"url", "embedded for the broker inside the program, or where another one is", true, of(brokerURL(), func(b *garden.Broker) *string { return &b.URL })},
		{"prefix", "the first levels of the garden's topics; the site's id follows", false, of(prefix(), func(b *garden.Broker) *string { return &b.Prefix })},
		{"client-id", "our name at the broker, ours alone; made from the site if absent", false, of(line("a name"), func(b *garden.Broker) *string { return &b.ClientID })},
		{"login-file", "our user and password at another broker, on two lines of a file that only its owner can read", false, of(fileName(), func(b *garden.Broker) *string { return &b.PasswordFile })},
		{"ca-file", "the authority that vouches for the broker, PEM; the system's if absent", false, of(fileName(), func(b *garden.Broker) *string { return &b.CAFile })},
		{"cert-file", "our certificate, PEM", false, of(fileName(), func(b *garden.Broker) *string { return &b.CertFile })},
		{"key-file", "the certificate's key, PEM", false, of(fileName(), func(b *garden.Broker) *string { return &b.KeyFile })},
		{"server-name", "the name in the broker's certificate, if not the one in url", false, of(line("a host name"), func(b *garden.Broker) *string { return &b.ServerName })},
		{"listen", "where the embedded broker listens; this machine alone if absent", false, of(listenAddress(), func(b *garden.Broker) *string { return &b.Listen })},
		{"accounts", "who may use the embedded broker, and for what", false, list("accounts, each with a login-file", account, func(b *garden.Broker) *[]garden.BrokerAccount { return &b.Accounts })},
		{"discovery", "describe the garden to hubs in a discovery document", false, of(root("yes, no, or the root topic where hubs look", topic.ValidName), func(b *garden.Broker) *string { return &b.Discovery })},
		{"homie", "describe the garden as a Homie 5 device", false, of(root("yes, no, or the name of the root topic", garden.ValidID), func(b *garden.Broker) *string { return &b.Homie })},
		{"weather", "weather that arrives over the broker", false, list("inputs, each with a quantity and its topic", skyTable(), func(b *garden.Broker) *[]garden.SkyInput { return &b.Sky })},
	}}
}

func skyTable() object[*garden.SkyInput] {
	return object[*garden.SkyInput]{"a weather input", []field[*garden.SkyInput]{
		{"quantity", "what it is", true, of(choice("a kind of weather", garden.SkyTemperature, garden.SkyHumidity, garden.SkyWind, garden.SkyRadiation,
			garden.SkyRain, garden.SkyRainTotal, garden.SkyDays), func(s *garden.SkyInput) *garden.SkyQuantity { return &s.Quantity })},
		{"topic", "the topic it arrives on", false, of(topicName(), func(s *garden.SkyInput) *string { return &s.Topic })},
		{"pointer", "where the number stands in a JSON document; absent means a plain number", false, of(pointer(), func(s *garden.SkyInput) *string { return &s.Path })},
		{"unit", "the unit it is published in", false, of(choice("a unit", "C", "F", "%", "m/s", "km/h", "mph", "kn", "W/m2", "mm", "in"), func(s *garden.SkyInput) *string { return &s.Unit })},
	}}
}

// remoteQuantity is what a remote probe publishes.
func remoteQuantity() scalar[garden.RemoteQuantity] {
	return choice("what it publishes", garden.RemoteCounts, garden.RemoteVolts, garden.RemoteWater, garden.RemotePercent)
}

func remoteTable() object[*garden.RemoteInput] {
	return object[*garden.RemoteInput]{"a remote probe", []field[*garden.RemoteInput]{
		{"quantity", "what it publishes", true, of(remoteQuantity(), func(i *garden.RemoteInput) *garden.RemoteQuantity { return &i.Quantity })},
		{"volts-per-count", "of counts: what one is worth", false, of(quantity(units.Potential(), 1e-9, 1), func(i *garden.RemoteInput) *float64 { return &i.VoltsPerCount })},
		{"topic", "the topic of a probe with a format of its own", false, of(topicName(), func(i *garden.RemoteInput) *string { return &i.Topic })},
		{"pointer", "where the value stands in a JSON document", false, of(pointer(), func(i *garden.RemoteInput) *string { return &i.Value })},
		{"sequence", "where a number stands that grows by one with each reading", false, of(pointer(), func(i *garden.RemoteInput) *string { return &i.Seq })},
		{"time", "where the time of the reading stands, Unix seconds", false, of(pointer(), func(i *garden.RemoteInput) *string { return &i.Time })},
		{"stale-after", "how old a reading may become", false, of(span(time.Second, 24*time.Hour), func(i *garden.RemoteInput) *time.Duration { return &i.MaxAge })},
	}}
}

// remoteAt makes room for what a probe says of its remote input.
func remoteAt(p *garden.Probe) *garden.RemoteInput {
	if p.Remote == nil {
		p.Remote = &garden.RemoteInput{}
	}
	return p.Remote
}

func plainTable() object[*garden.PlainValve] {
	return object[*garden.PlainValve]{"a plain switch", []field[*garden.PlainValve]{
		{"set-topic", "where it takes its word", true, of(topicName(), func(p *garden.PlainValve) *string { return &p.Set })},
		{"state-topic", "where it says its state", true, of(topicName(), func(p *garden.PlainValve) *string { return &p.State })},
		{"state-pointer", "where the word stands in a JSON state", false, of(pointer(), func(p *garden.PlainValve) *string { return &p.StatePath })},
		{"open-word", "its word for open; ON if absent", false, of(line("a word"), func(p *garden.PlainValve) *string { return &p.On })},
		{"closed-word", "its word for closed; OFF if absent", false, of(line("a word"), func(p *garden.PlainValve) *string { return &p.Off })},
		{"own-limit", "the time after which the device closes by itself, set in the device", true, of(span(time.Minute, 24*time.Hour), func(p *garden.PlainValve) *time.Duration { return &p.OwnLimit })},
	}}
}

func plainAt(v *valveDraft) *garden.PlainValve {
	if v.Plain == nil {
		v.Plain = &garden.PlainValve{On: "ON", Off: "OFF"}
	}
	return v.Plain
}

// words of the scalars below are bounded as the link bounds them.
func textOf(wants string, good func(string) bool) scalar[string] {
	return scalar[string]{wants: wants, format: map[string]any{"type": "string", "maxLength": topic.MaxLen}, parse: func(text string) (string, error) {
		if !good(text) {
			return "", fail("not understood", wants)
		}
		return text, nil
	}}
}

func topicName() scalar[string] {
	return textOf("one topic, with no wildcard", topic.ValidName)
}

func topicFilter() scalar[string] {
	return textOf("a topic, or several with + and #", topic.ValidFilter)
}

func pointer() scalar[string] {
	return textOf("a JSON pointer (RFC 6901), such as /soil/0/value", func(s string) bool { return s != "" && payload.ValidPointer(s) })
}

func prefix() scalar[string] {
	return textOf("one to three names with / between them, such as home/garden", func(s string) bool {
		_, err := topic.NewTree(s, "site")
		return s != "" && err == nil
	})
}

// fileName is a file of this machine; one that is not absolute stands beside
// the garden file.
func fileName() scalar[string] {
	return textOf("a file's name, absolute or relative to the garden file", func(s string) bool {
		return s != "" && len(s) <= 255 && strings.IndexFunc(s, unicode.IsControl) < 0
	})
}

func brokerURL() scalar[string] {
	return textOf("embedded, mqtt://HOST:PORT or mqtts://HOST:PORT", func(s string) bool {
		if s == garden.EmbeddedBroker {
			return true
		}
		u, err := url.Parse(s)
		return err == nil && (u.Scheme == "mqtt" || u.Scheme == "mqtts") && u.Hostname() != "" && u.User == nil &&
			(u.Path == "" || u.Path == "/") && u.RawQuery == "" && u.Fragment == ""
	})
}

func listenAddress() scalar[string] {
	return textOf("HOST:PORT, such as 0.0.0.0:1883", func(s string) bool {
		_, port, err := net.SplitHostPort(s)
		return err == nil && port != ""
	})
}

// root is a root topic, or yes for the usual one, or no.
func root(wants string, good func(string) bool) scalar[string] {
	s := textOf(wants, good)
	parse := s.parse
	s.format = map[string]any{"type": []any{"boolean", "string"}}
	s.parse = func(text string) (string, error) {
		switch text {
		case "yes", "true":
			return garden.UsualRoot, nil
		case "no", "false":
			return "", nil
		}
		return parse(text)
	}
	return s
}

// beside makes a file's name one that holds wherever the program was started.
func (r *reader) beside(name *string) {
	if *name != "" && !filepath.IsAbs(*name) {
		*name = filepath.Join(filepath.Dir(r.src.Name), *name)
	}
}

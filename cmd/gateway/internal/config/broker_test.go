package config_test

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/cmd/gateway/internal/config"
	"fabricpot/control/garden"
)

func TestFullBroker(t *testing.T) {
	g, _, err := config.Load("/etc/garden/full.yaml", []byte(strings.Replace(full, "testdata/bark", "bark", 1)))
	require.Error(t, err, "no such calibration file there")
	require.Nil(t, g)
	g, _, err = config.Load("full.yaml", []byte(full))
	require.NoError(t, err)
	assert.Equal(t, garden.Broker{
		URL: garden.EmbeddedBroker, Prefix: "home/garden", ClientID: "full", Listen: "0.0.0.0:8883",
		CAFile: "/etc/ca.pem", CertFile: "broker.pem", KeyFile: "broker.key", ServerName: "garden.test",
		Accounts: []garden.BrokerAccount{{PasswordFile: "east.login", Publish: []string{"home/garden/full-site/valve/east-node/state"},
			Subscribe: []string{"home/garden/full-site/valve/east-node/set"}}},
		Discovery: garden.UsualRoot, Homie: "devices",
		Sky: []garden.SkyInput{
			{Topic: "station", Path: "/temp", Quantity: garden.SkyTemperature, Unit: "F"},
			{Topic: "station", Path: "/wind", Quantity: garden.SkyWind, Unit: "km/h"},
			{Topic: "station/rh", Quantity: garden.SkyHumidity, Unit: "%"},
			{Quantity: garden.SkyDays},
		},
	}, g.Broker)
	probes := g.Pots[2].Zones[0].Probes
	require.Len(t, probes, 2)
	assert.Equal(t, &garden.RemoteInput{Quantity: garden.RemotePercent}, probes[0].Remote)
	assert.Equal(t, &garden.RemoteInput{Topic: "field/7", Quantity: garden.RemoteCounts, VoltsPerCount: 0.000125, Value: "/soil/0", Seq: "/n", Time: "/t", MaxAge: 30 * time.Minute}, probes[1].Remote)
	assert.Equal(t, garden.Valve{Kind: garden.RemoteValve, Plain: &garden.PlainValve{Set: "plug/3/set", State: "plug/3", StatePath: "/relay", On: "on", Off: "off", OwnLimit: 20 * time.Minute}}, g.Lines[2].Valve)
	assert.Equal(t, 20*time.Minute, g.Lines[2].MaxOn, "no longer than the device itself allows")
}

// TestGrantsOfPlainSwitches: what a switch with topics of its own listens to is the
// gateway's as well, and no more than that.
func TestGrantsOfPlainSwitches(t *testing.T) {
	granting := func(filters string) string {
		text := replace(t, far, "url: mqtt://192.0.2.7", "url: embedded\n  accounts: [{ login-file: a, may-publish: ["+filters+"] }]")
		text = replace(t, text, "{ remote: tap }", "{ plain: { set-topic: plug/3/set, state-topic: plug/3, own-limit: 5 min } }")
		_, s, err := config.Load("g.yaml", []byte(text))
		require.NoError(t, err, "the broker refuses it, and the pots get their water")
		return s.Warnings.Error()
	}
	for _, bad := range []string{"plug/3/set", "plug/#", "plug/+/set", "+/3/+", "plug/3/#"} {
		assert.Contains(t, granting(bad), "expected topics that leave out plug/3/set", bad)
	}
	for _, good := range []string{"plug/3", "plug/+", "plug/4/set", "plug/3/set/x", "fabricpot/far/do", "fabricpot/far/valve/tap/state", "fabricpot/far/valve/+/state",
		"fabricpot/far/probe/#", "fabricpot/other/#", "fabricpot/far/valve/set"} {
		assert.NotContains(t, granting(good), "may-publish", good)
	}
}

// far is a small garden with its probe and valve at the far end of a broker.
const far = `site: { name: Far, latitude: 40, longitude: 22, elevation: 10 m, time-zone: UTC }
mixes:
  light:
    retention: { model: van-genuchten, theta-r: 10 %, theta-s: 88 %, alpha: 0.15 /cm, n: 1.6 }
pots:
  chilli:
    mix: light
    size: 38 L
    plants: [{ crop: chilli }]
    probes:
      top: { depth: 10 cm, remote: percent }
lines:
  one:
    valve: { remote: tap }
    waters: { chilli: 4 x 2 L/h }
supply: { flow: 60 L/h }
hardware: { kind: bench }
broker:
  url: mqtt://192.0.2.7
`

// TestWideGrants: what the broker refuses anyway is no reason to leave the pots dry.
func TestWideGrants(t *testing.T) {
	for _, c := range []struct{ name, old, new, want string }{
		{"a grant of everything", "url: mqtt://192.0.2.7", "url: embedded\n  accounts: [{ login-file: a, may-publish: [station/#, \"#\"] }]",
			`g.yaml:20:56: warning: broker.accounts.1.may-publish.2: takes in what opens a valve past all limits, which the broker refuses all the same, found "#", expected topics that leave out fabricpot/far/valve/+/set, which the gateway alone may write; people ask on fabricpot/far/do, nodes answer on fabricpot/far/valve/+/state`},
		{"a grant of a node's commands", "url: mqtt://192.0.2.7", "url: embedded\n  accounts: [{ login-file: a, may-publish: [fabricpot/far/valve/tap/set] }]",
			`broker.accounts.1.may-publish.1: takes in what opens a valve past all limits, which the broker refuses all the same, found "fabricpot/far/valve/tap/set"`},
		{"a grant of any site's", "url: mqtt://192.0.2.7", "url: embedded\n  accounts: [{ login-file: a, may-publish: [fabricpot/+/valve/+/+] }]", "takes in what opens a valve past all limits, which the broker refuses all the same"},
		{"a grant of all that is the gateway's", "url: mqtt://192.0.2.7", "url: embedded\n  accounts: [{ login-file: a, may-publish: [fabricpot/far/#] }]",
			"expected topics that leave out fabricpot/far/valve/+/set"},
		{"a grant below a prefix of one's own", "url: mqtt://192.0.2.7", "url: embedded\n  prefix: home/garden\n  accounts: [{ login-file: a, may-publish: [home/garden/#] }]",
			"expected topics that leave out home/garden/far/valve/+/set"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, s, err := config.Load("g.yaml", []byte(replace(t, far, c.old, c.new)))
			require.NoError(t, err)
			assert.Contains(t, s.Warnings.Error(), c.want)
			assert.NotContains(t, s.Warnings.Error(), "\n", "one grant, one message")
		})
	}
}

func TestBrokerSlips(t *testing.T) {
	g, _, err := config.Load("g.yaml", []byte(far))
	require.NoError(t, err)
	assert.Equal(t, "mqtt://192.0.2.7", g.Broker.URL)
	for _, c := range []struct{ name, old, new, want string }{
		{"no broker", "broker:\n  url: mqtt://192.0.2.7\n", "", "g.yaml:11:36: pots.chilli.probes.top.remote: a remote device and no broker, expected broker: with its url"},
		{"no url", "url: mqtt://192.0.2.7", "prefix: home", `no "url"`},
		{"another scheme", "mqtt://192", "http://192", `broker.url: not understood, found "http://192.0.2.7", expected embedded, mqtt://HOST:PORT or mqtts://HOST:PORT`},
		{"a password in the address", "mqtt://192", "mqtt://me:se/c@ret@192", `broker.url: not understood, found "mqtt://…@192.0.2.7", expected embedded`},
		{"listen without accounts", "url: mqtt://192.0.2.7", "url: embedded\n  listen: 0.0.0.0:1883", `broker.listen: others can reach it and there is no account, found "0.0.0.0:1883"`},
		{"listen at another's", "192.0.2.7", "192.0.2.7\n  listen: 127.0.0.1:1883", "broker.listen: belongs to the embedded broker"},
		{"accounts at another's", "192.0.2.7", "192.0.2.7\n  accounts: [{ login-file: a }]", "broker.accounts: belongs to the embedded broker"},
		{"login at our own", "url: mqtt://192.0.2.7", "url: embedded\n  login-file: x", "broker.login-file: the embedded broker knows us without it"},
		{"authority without TLS", "192.0.2.7", "192.0.2.7\n  ca-file: x", "broker.ca-file: is of no use without TLS, expected url: mqtts://HOST:PORT"},
		{"half a certificate", "mqtt://192.0.2.7", "mqtts://192.0.2.7\n  cert-file: x", "a certificate and no key"},
		{"prefix", "192.0.2.7", "192.0.2.7\n  prefix: a/b/c/d", "broker.prefix: not understood"},
		{"wildcard to publish", "192.0.2.7", "192.0.2.7\n  homie: home/#", "broker.homie: not understood"},
		{"wind in degrees", "192.0.2.7", "192.0.2.7\n  weather: [{ quantity: wind, topic: w, unit: C }]", `broker.weather.1.unit: not a unit of wind, found "C", expected m/s or km/h or mph or kn`},
		{"weather without a unit", "192.0.2.7", "192.0.2.7\n  weather: [{ quantity: wind, topic: w }]", `broker.weather.1: no "unit", expected m/s`},
		{"weather without a topic", "192.0.2.7", "192.0.2.7\n  weather: [{ quantity: wind, unit: kn }]", `broker.weather.1: no "topic"`},
		{"a forecast with a unit", "192.0.2.7", "192.0.2.7\n  weather: [{ quantity: days, unit: mm }]", "a forecast names its own units"},
		{"no input at all", ", remote: percent", "", `pots.chilli.probes.top: no "input", expected input: where it is wired, such as 0x48/0, or remote: what it publishes`},
		{"both inputs", "remote: percent", "remote: percent, input: 0x48/0", "pots.chilli.probes.top: both an input and remote"},
		{"an unknown quantity", "remote: percent", "remote: percnt", `unknown word, found "percnt", expected "percent"`},
		{"counts of nothing", "remote: percent", "remote: counts", `pots.chilli.probes.top.remote: no "volts-per-count"`},
		{"percent a count", "remote: percent", "remote: { quantity: percent, volts-per-count: 1 mV }", "belongs to counts"},
		{"pointer into our own format", "remote: percent", "remote: { quantity: percent, pointer: /a }", "the garden's own topic has a format of its own"},
		{"sequence of a plain number", "remote: percent", "remote: { quantity: percent, topic: t, sequence: /a }", "stands alone in a JSON document"},
		{"two on one topic", "remote: percent }", "remote: { quantity: percent, topic: t } }\n      deep: { depth: 20 cm, remote: { quantity: percent, topic: t } }", `two probes on one topic, found "t"`},
		{"stale in no time", "remote: percent", "remote: { quantity: percent, stale-after: 0 s }", "out of range"},
		{"plain without its limit", "{ remote: tap }", "{ plain: { set-topic: a, state-topic: b } }", `lines.one.valve.plain: no "own-limit", expected own-limit: the time after which the device closes by itself`},
		{"plain and a node", "{ remote: tap }", "{ remote: tap, plain: { set-topic: a, state-topic: b, own-limit: 5 min } }", "one of pin, remote and plain"},
		{"plain with one word", "{ remote: tap }", "{ plain: { set-topic: a, state-topic: b, own-limit: 5 min, open-word: OFF } }", "one word for open and closed"},
		{"plain with one topic", "{ remote: tap }", "{ plain: { set-topic: a, state-topic: a, own-limit: 5 min } }", `lines.one.valve.plain: one topic for its word and its state, on which our own word would pass for the device's, found "a", expected two topics`},
		{"plain with a wildcard", "{ remote: tap }", "{ plain: { set-topic: a/+, state-topic: b, own-limit: 5 min } }", "set-topic: not understood"},
		{"node of a pin", "{ remote: tap }", "{ plain: { set-topic: a, state-topic: b, own-limit: 5 min }, active-low: yes }", "belongs to a pin"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, _, err := config.Load("g.yaml", []byte(replace(t, far, c.old, c.new)))
			require.Error(t, err)
			assert.Contains(t, err.Error(), c.want)
			assert.NotContains(t, err.Error(), "\n", "one slip, one message")
		})
	}
}

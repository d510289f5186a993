package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/DataDog/datadog-agent/pkg/template/text"
	"github.com/a-h/templ"
	templruntime "github.com/a-h/templ/runtime"
	"github.com/coreos/go-systemd/v22/daemon"
	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/go-json-experiment/json"
	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/parser"
	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"
	"github.com/prometheus/procfs"
	"github.com/schollz/progressbar/v3"
	"github.com/wneessen/go-mail"
	"golang.org/x/crypto/bcrypt"
	"golang.org/x/term"
	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/interp"
	"gonum.org/v1/gonum/stat"
	"periph.io/x/conn/v3/i2c"
	"periph.io/x/host/v3/sysfs"
)

// linked are the doors of what the gateway opens only where a garden file asks for
// it, or another command of it does. The linker drops what nothing refers to: a
// bare import of a package links next to nothing of it.
var linked = []any{
	(*yaml.SyntaxError).Error, template.New, (*template.Template).Execute, mail.NewMsg, (*mail.Msg).SetBodyString, mail.NewClient, (*mail.Client).DialAndSend,
	bcrypt.GenerateFromPassword, bcrypt.CompareHashAndPassword, progressbar.NewOptions, progressbar.DefaultSilent, (*progressbar.ProgressBar).Add,
	term.ReadPassword, term.IsTerminal, (*sysfs.I2C).Tx, (*sysfs.I2C).Close, (*i2c.Dev).Tx,
}

// settings is what stands for a garden file.
const settings = "garden: small\npots:\n  - { name: a, litres: 40, probes: [{ depth: 10 cm }] }\n"

// open has each library that a running gateway uses do one small thing of what
// the gateway does with it.
func open(ctx context.Context, broker string) error {
	if _, err := parser.ParseBytes([]byte(settings), 0, parser.AllowDuplicateMapKey()); err != nil {
		return fmt.Errorf("settings: %w", err)
	}
	if err := talk(broker); err != nil {
		return fmt.Errorf("broker: %w", err)
	}
	page := templruntime.GeneratedTemplate(func(in templruntime.GeneratedComponentInput) error {
		buffer, _ := templruntime.GetBuffer(in.Writer)
		_, err := buffer.WriteString(templ.EscapeString("a & b"))
		return errors.Join(err, templruntime.ReleaseBuffer(buffer))
	})
	if err := page.Render(ctx, io.Discard); err != nil {
		return fmt.Errorf("page: %w", err)
	}
	var curve interp.FritschButland
	x, y := []float64{0, 1, 2}, []float64{0, 1, 4}
	if err := curve.Fit(x, y); err != nil {
		return fmt.Errorf("curve: %w", err)
	}
	quad.Legendre{}.FixedLocations(x, y, 0, 1)
	stat.LinearRegression(x, y, nil, false)
	if _, err := procfs.Self(); err != nil {
		return fmt.Errorf("process: %w", err)
	}
	if _, err := daemon.SdNotify(false, daemon.SdNotifyReady); err != nil {
		return fmt.Errorf("service manager: %w", err)
	}
	return nil
}

// anybody lets every client of the broker in.
type anybody struct{ mochi.HookBase }

func (anybody) ID() string { return "anybody" }
func (anybody) Provides(b byte) bool {
	return b == mochi.OnConnectAuthenticate || b == mochi.OnACLCheck
}
func (anybody) OnConnectAuthenticate(*mochi.Client, packets.Packet) bool { return true }
func (anybody) OnACLCheck(*mochi.Client, string, bool) bool              { return true }

// talk has a client of the broker hear what it says itself.
func talk(broker string) error {
	c := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + broker).SetClientID("baseline").SetAutoReconnect(false))
	wait := func(t paho.Token) error {
		if !t.WaitTimeout(10 * time.Second) {
			return errors.New("no answer within ten seconds")
		}
		return t.Error()
	}
	if err := wait(c.Connect()); err != nil {
		return err
	}
	heard := make(chan error, 1)
	if err := wait(c.Subscribe("base/#", 1, func(_ paho.Client, m paho.Message) {
		var v struct {
			Water float64 `json:"water"`
		}
		select {
		case heard <- json.Unmarshal(m.Payload(), &v):
		default:
		}
	})); err != nil {
		return err
	}
	said, err := json.Marshal(map[string]float64{"water": 0.4}, json.Deterministic(true))
	if err != nil {
		return err
	}
	if err := wait(c.Publish("base/a", 1, true, said)); err != nil {
		return err
	}
	select {
	case err = <-heard:
	case <-time.After(10 * time.Second):
		err = errors.New("not heard within ten seconds")
	}
	return err
}

// usage names what is linked, so that the linker keeps it.
func usage() string {
	var b strings.Builder
	b.WriteString("usage: baseline FOLDER\n")
	for _, door := range linked {
		fmt.Fprintf(&b, "  links %T\n", door)
	}
	return b.String()
}

// Command baseline links what the gateway links and opens what it opens - a
// database with its connections, a message broker, a page, a control
// socket - and does nothing with it until it is told to end. What the gateway
// costs beyond this is its own.
package main

import (
	_ "archive/zip"
	"context"
	"database/sql"
	_ "encoding/csv"
	"fmt"
	_ "hash/fnv"
	"log/slog"
	"net"
	"net/http"
	"os"
	"os/signal"
	"path/filepath"
	_ "runtime/metrics"
	"syscall"
	_ "text/tabwriter"

	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/listeners"
	"github.com/prometheus/procfs"
	_ "modernc.org/sqlite"

	_ "github.com/DataDog/datadog-agent/pkg/template/text"
	_ "github.com/a-h/templ/runtime"
	_ "github.com/coreos/go-systemd/v22/daemon"
	_ "github.com/eclipse/paho.mqtt.golang"
	_ "github.com/go-json-experiment/json"
	_ "github.com/goccy/go-yaml"
	_ "github.com/schollz/progressbar/v3"
	_ "github.com/spf13/cobra"
	_ "github.com/wneessen/go-mail"
	_ "golang.org/x/crypto/bcrypt"
	_ "golang.org/x/term"
	_ "gonum.org/v1/gonum/integrate/quad"
	_ "gonum.org/v1/gonum/interp"
	_ "gonum.org/v1/gonum/stat"
	_ "periph.io/x/conn/v3/i2c"
	_ "periph.io/x/host/v3/sysfs"
)

func main() {
	if len(os.Args) != 2 {
		fmt.Fprintln(os.Stderr, "usage: baseline FOLDER")
		os.Exit(2)
	}
	if err := run(os.Args[1]); err != nil {
		fmt.Fprintln(os.Stderr, "baseline:", err)
		os.Exit(1)
	}
}

func run(folder string) error {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	// As many connections as a journal has.
	for _, sync := range []string{"FULL", "NORMAL", "NORMAL"} {
		db, err := sql.Open("sqlite", "file:"+filepath.Join(folder, "base.db")+"?_pragma=journal_mode(WAL)&_pragma=synchronous("+sync+")")
		if err != nil {
			return err
		}
		defer db.Close()
		if _, err := db.Exec("CREATE TABLE IF NOT EXISTS a(b)"); err != nil {
			return err
		}
	}
	broker := mochi.New(&mochi.Options{Logger: slog.New(slog.DiscardHandler)})
	if err := broker.AddListener(listeners.NewTCP(listeners.Config{ID: "tcp", Address: "127.0.0.1:0"})); err != nil {
		return err
	}
	if err := broker.Serve(); err != nil {
		return err
	}
	defer broker.Close()
	if _, err := procfs.Self(); err != nil {
		return err
	}
	mux := http.NewServeMux()
	mux.HandleFunc("/status", func(w http.ResponseWriter, _ *http.Request) { _, _ = w.Write([]byte("{}")) })
	srv := &http.Server{Handler: mux}
	for _, at := range []struct{ network, address string }{{"tcp", "127.0.0.1:0"}, {"unix", filepath.Join(folder, "base.sock")}} {
		l, err := net.Listen(at.network, at.address)
		if err != nil {
			return err
		}
		go func() { _ = srv.Serve(l) }()
	}
	defer srv.Close()
	fmt.Fprintln(os.Stderr, "open")
	<-ctx.Done()
	return nil
}

// Command baseline links what the gateway links and opens what it opens - a
// database with its connections, a message broker and a client of it, a page, a
// control socket - has each library do one small thing, and then does nothing until
// it is told to end. What the gateway costs beyond this is its own.
package main

import (
	_ "archive/zip"
	"context"
	"database/sql"
	_ "encoding/csv"
	"errors"
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
	"github.com/spf13/cobra"
	_ "modernc.org/sqlite"
)

// errUsage is wrong use, which opens nothing.
var errUsage = errors.New("one folder is expected")

func main() {
	root := &cobra.Command{Use: "baseline FOLDER", SilenceErrors: true, SilenceUsage: true,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 1 {
				return errUsage
			}
			return nil
		},
		RunE: func(_ *cobra.Command, args []string) error { return run(args[0]) }}
	switch err := root.Execute(); {
	case errors.Is(err, errUsage):
		fmt.Fprint(os.Stderr, usage())
		os.Exit(2)
	case err != nil:
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
	if err := broker.AddHook(&anybody{}, nil); err != nil {
		return err
	}
	door := listeners.NewTCP(listeners.Config{ID: "tcp", Address: "127.0.0.1:0"})
	if err := broker.AddListener(door); err != nil {
		return err
	}
	if err := broker.Serve(); err != nil {
		return err
	}
	defer broker.Close()
	mux := http.NewServeMux()
	mux.HandleFunc("/status", func(w http.ResponseWriter, _ *http.Request) { _, _ = w.Write([]byte("{}")) })
	srv := &http.Server{Handler: mux}
	var doors []net.Listener
	for _, at := range []struct{ network, address string }{{"tcp", "127.0.0.1:0"}, {"unix", filepath.Join(folder, "base.sock")}} {
		l, err := net.Listen(at.network, at.address)
		if err != nil {
			return err
		}
		doors = append(doors, l)
	}
	// What the gateway does once its lines are closed comes after that here as well,
	// and it answers when that is done.
	fmt.Fprintln(os.Stderr, "open")
	if err := open(ctx, door.Address()); err != nil {
		return err
	}
	for _, l := range doors {
		go func() { _ = srv.Serve(l) }()
	}
	defer srv.Close()
	<-ctx.Done()
	return nil
}

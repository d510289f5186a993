package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/cmd/gateway/internal/page"
	"fabricpot/cmd/gateway/internal/runner"
)

// besidePath is where a board's gateway remembers what it gives while its journal
// can't be written: beside the control socket, in a folder that the service manager
// keeps until the board goes off. Its name is another one for another control socket,
// as for unkeptFolders.
func besidePath(socket string) string {
	return besidePathOf(socket, serviceSocket, os.Geteuid() == 0)
}

// besidePathOf is besidePath where the packaged service listens at service.
func besidePathOf(socket, service string, root bool) string {
	own := page.DefaultSocket()
	dir := filepath.Dir(own)
	// Root on a board means the service's, as for the journal.
	if st, err := os.Stat(filepath.Dir(service)); root && os.Getenv("RUNTIME_DIRECTORY") == "" && err == nil && st.IsDir() {
		dir = filepath.Dir(service)
		// A service that stopped has no socket to be seen by defaultSocket.
		if socket == own {
			socket = service
		}
	}
	return filepath.Join(dir, fmt.Sprintf("unwritten-%x.json", socketSum(socket)))
}

// keepBeside has a board's keeper remember there what its journal can't take. Where
// that fails too the plants need water all the same.
func keepBeside(s streams, k *runner.Keeper, socket string) {
	clock, err := journal.BootClock()
	if err != nil {
		clock = ""
	}
	path := besidePath(socket)
	// A control socket may have been named elsewhere.
	b, err := journal.OpenBeside(path, clock)
	if err = errors.Join(err, os.MkdirAll(filepath.Dir(path), 0o700)); err != nil {
		fmt.Fprintln(s.err, err)
	}
	if err := k.KeepBeside(b); err != nil {
		fmt.Fprintln(s.err, err)
	}
}

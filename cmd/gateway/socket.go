package main

import (
	"os"

	"fabricpot/cmd/gateway/internal/page"
)

// serviceSocket is where the packaged service listens.
const serviceSocket = "/run/fabricpot/gateway.sock"

// defaultSocket is the service's socket where this user can see one, so that
// commands reach it without being told; else the user's own.
func defaultSocket() string {
	if os.Getenv("RUNTIME_DIRECTORY") == "" {
		if st, err := os.Stat(serviceSocket); err == nil && st.Mode()&os.ModeSocket != 0 {
			return serviceSocket
		}
	}
	return page.DefaultSocket()
}

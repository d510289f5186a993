// Command host boots a stock kernel on emulated boards, with package guest's
// program as the only user land, and is their wires and their witness: it reads
// and drives pins and chips from outside the board, keeps the history of what
// every pin did from the emulator's trace, and prints what the guest found.
//
//	host -dir FOLDER [BOARD…]
//
// The folder holds BOARD.kernel, BOARD.initrd and, where it needs one, BOARD.dtb; what the emulator
// says goes to BOARD.log there. The exit code is 1 if any check failed.
package main

import (
	"context"
	"flag"
	"fmt"
	"os"
	"strings"
	"sync"
	"time"
)

// machine is one emulated board.
type machine struct {
	name string
	qemu string
	args []string
	// events are the emulator's traces of writes to the GPIO chip's registers.
	event string
	pins  func() pins
	// checks is how many the guest makes: a run that ends early must not pass.
	checks int
	limit  time.Duration
}

func machines() []machine {
	return []machine{
		{
			name: "arm64", qemu: "qemu-system-aarch64", event: "pl061_write",
			args: []string{"-M", "virt", "-cpu", "cortex-a53", "-smp", "1", "-m", "256M",
				"-append", "console=ttyAMA0 loglevel=2 panic=-1"},
			pins: func() pins { return &pl061{} }, checks: 31, limit: 3 * time.Minute,
		},
		{
			name: "armhf", qemu: "qemu-system-arm", event: "aspeed_gpio_write",
			args: []string{"-M", "ast2600-evb", "-m", "1G",
				"-device", "tmp105,bus=aspeed.i2c.bus.3,address=0x48,id=t1",
				"-device", "at24c-eeprom,bus=aspeed.i2c.bus.3,address=0x49,rom-size=4096",
				"-append", "console=ttyS4,115200n8 loglevel=2 panic=-1"},
			pins: func() pins { return &aspeed{} }, checks: 38, limit: 3 * time.Minute,
		},
	}
}

func main() {
	dir := flag.String("dir", "", "`folder` with the boards' files")
	flag.Parse()
	if *dir == "" {
		flag.Usage()
		os.Exit(2)
	}
	var all sync.WaitGroup
	var mu sync.Mutex
	failed := false
	for _, m := range machines() {
		if wanted := flag.Args(); len(wanted) > 0 && !strings.Contains(" "+strings.Join(wanted, " ")+" ", " "+m.name+" ") {
			continue
		}
		all.Add(1)
		go func() {
			defer all.Done()
			say := func(kind, words string) {
				mu.Lock()
				defer mu.Unlock()
				failed = failed || kind == "FAIL"
				fmt.Printf("%-4s %-5s  %s\n", kind, m.name, words)
			}
			ctx, cancel := context.WithTimeout(context.Background(), m.limit)
			defer cancel()
			start := time.Now()
			if err := m.run(ctx, *dir, say); err != nil {
				say("FAIL", err.Error())
			}
			say("note", fmt.Sprintf("the board ran for %.0f s", time.Since(start).Seconds()))
		}()
	}
	all.Wait()
	if failed {
		os.Exit(1)
	}
}

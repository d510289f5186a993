// Command guest is the whole user land of an emulated board: the kernel starts it
// as /init, and it holds the gateway's GPIO and I²C drivers and the gateway
// itself against that kernel. It has no wires of its own: what a pin really did
// is asked of the host by lines on the console (see console.go).
//
// A check that fails is printed and the others go on; a panic resets the board,
// which the host takes for a failure unless it was told to expect one.
package main

import (
	_ "embed"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"time"

	"golang.org/x/sys/unix"
)

// bench is what the emulated board has and where.
type bench struct {
	chip  string // label of its GPIO chip
	free  [3]int // lines nobody uses
	input int    // a line that the host drives
	// debounces tells that the kernel does it: the AST2600 has a circuit for that,
	// which the emulated one lacks.
	debounces bool
	opening   int    // the garden's line that is opened, energised by high
	low       int    // its other line, energised by low
	bus       string // I²C bus with the thermometer and the memory, "" for none
	// fresh is what a line that was an input does when it is asked for high.
	fresh string
}

func boardHere() bench {
	if runtime.GOARCH == "arm64" {
		// The PL061 ignores a value for a line that is still an input, so the
		// kernel's driver has to set it again after the direction: a glitch of
		// this chip's own that no program can prevent. Boards that energise on
		// low must not hang on one.
		return bench{chip: "9030000.pl061", free: [3]int{0, 1, 2}, input: 6, debounces: true, opening: 4, low: 5, fresh: "in 0 1"}
	}
	return bench{chip: "1e780000.gpio", free: [3]int{17, 18, 19}, input: 27, opening: 20, low: 21, bus: "/dev/i2c-3", fresh: "in 1"}
}

//go:embed garden.yaml
var template string

// gardenFile is where the gateway's garden is written to.
const gardenFile = "/run/garden.yaml"

// writeGarden fills in what differs from board to board.
func (b bench) writeGarden() error {
	fill := strings.NewReplacer("CHIP", b.chip, "OPENING", strconv.Itoa(b.opening), "LOW", strconv.Itoa(b.low))
	return os.WriteFile(gardenFile, []byte(fill.Replace(template)), 0o600)
}

func main() {
	if len(os.Args) == 5 && os.Args[1] == "hold" {
		hold(os.Args[2], os.Args[3], os.Args[4])
		return
	}
	if len(os.Args) == 5 && os.Args[1] == "count" {
		count(os.Args[2], os.Args[3], os.Args[4])
		return
	}
	if os.Getpid() != 1 {
		fmt.Fprintln(os.Stderr, "guest: meant to be the first program of an emulated board")
		os.Exit(2)
	}
	h, err := begin()
	if err != nil {
		fmt.Println("@FAIL set up the board:", err)
		end()
	}
	b := boardHere()
	h.check("write the garden", b.writeGarden())
	h.note("the first line of the test came %.1f s after the kernel", sinceBoot().Seconds())
	checkLines(h, b)
	checkPulses(h, b)
	if b.bus != "" {
		checkBus(h, b)
	}
	checkGateway(h, b)
	// The last check ends in a reset and does not come back.
	h.fail("watchdog", "the board is still running")
	end()
}

// end resets the board: not every one can switch itself off. The host expects no
// reset then, and takes it for a failure.
func end() { _ = unix.Reboot(unix.LINUX_REBOOT_CMD_RESTART) }

// begin mounts what a program expects, loads the modules in the order of their
// file names and opens the console.
func begin() (*host, error) {
	for _, m := range []struct{ kind, at string }{{"proc", "/proc"}, {"sysfs", "/sys"}, {"devtmpfs", "/dev"}, {"tmpfs", "/run"}, {"tmpfs", "/tmp"}} {
		if err := os.MkdirAll(m.at, 0o755); err != nil {
			return nil, err
		}
		if err := unix.Mount(m.kind, m.at, m.kind, 0, ""); err != nil && err != unix.EBUSY {
			return nil, fmt.Errorf("mount %s: %w", m.at, err)
		}
	}
	mods, err := filepath.Glob("/modules/*.ko")
	if err != nil {
		return nil, err
	}
	for _, m := range mods {
		if err := load(m); err != nil {
			return nil, fmt.Errorf("load %s: %w", m, err)
		}
	}
	if err := loopbackUp(); err != nil {
		return nil, fmt.Errorf("loopback: %w", err)
	}
	return newHost()
}

func load(path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	return unix.FinitModule(int(f.Fd()), "", 0)
}

// loopbackUp lets the gateway's page be reached.
func loopbackUp() error {
	fd, err := unix.Socket(unix.AF_INET, unix.SOCK_DGRAM|unix.SOCK_CLOEXEC, 0)
	if err != nil {
		return err
	}
	defer unix.Close(fd)
	r, err := unix.NewIfreq("lo")
	if err != nil {
		return err
	}
	r.SetUint16(unix.IFF_UP)
	return unix.IoctlIfreq(fd, unix.SIOCSIFFLAGS, r)
}

func sinceBoot() time.Duration {
	var ts unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_BOOTTIME, &ts); err != nil {
		return 0
	}
	return time.Duration(ts.Nano())
}

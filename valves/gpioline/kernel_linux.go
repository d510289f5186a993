package gpioline

import (
	"cmp"
	"errors"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"unsafe"

	"golang.org/x/sys/unix"
)

// linux is the real kernel.
type linux struct{}

func machine() kernel { return linux{} }

func (linux) chips() ([]string, error) {
	paths, err := filepath.Glob("/dev/gpiochip*")
	slices.SortFunc(paths, func(a, b string) int { return cmp.Compare(number(a), number(b)) })
	return paths, err
}

// number is N of /dev/gpiochipN.
func number(path string) int {
	n, err := strconv.Atoi(strings.TrimPrefix(filepath.Base(path), "gpiochip"))
	if err != nil {
		return -1
	}
	return n
}

func (linux) open(path string) (int, error) {
	for {
		fd, err := unix.Open(path, unix.O_RDWR|unix.O_CLOEXEC, 0)
		if !errors.Is(err, unix.EINTR) {
			return fd, err
		}
	}
}

func (linux) close(fd int) error { return unix.Close(fd) }

func (linux) chipInfo(fd int, c *chipInfo) error {
	return ioctl(fd, getChipInfo, unsafe.Pointer(c))
}

func (linux) lineInfo(fd int, l *lineInfo) error {
	return ioctl(fd, getLineInfo, unsafe.Pointer(l))
}

func (linux) line(fd int, r *lineRequest) error {
	return ioctl(fd, getLine, unsafe.Pointer(r))
}

func (linux) values(fd int, v *lineValues) error {
	return ioctl(fd, getValues, unsafe.Pointer(v))
}

func (linux) setValues(fd int, v *lineValues) error {
	return ioctl(fd, setValues, unsafe.Pointer(v))
}

// stream hands the descriptor to the runtime's poller, so that a close ends a
// read that waits.
func (linux) stream(fd int, name string) (io.ReadCloser, error) {
	if err := unix.SetNonblock(fd, true); err != nil {
		return nil, err
	}
	return os.NewFile(uintptr(fd), name), nil
}

func (linux) busy(err error) bool { return errors.Is(err, unix.EBUSY) }

// ioctl passes a struct to the kernel and has it filled in.
func ioctl(fd int, req uintptr, arg unsafe.Pointer) error {
	for {
		_, _, errno := unix.Syscall(unix.SYS_IOCTL, uintptr(fd), req, uintptr(arg))
		runtime.KeepAlive(arg)
		switch errno {
		case 0:
			return nil
		case unix.EINTR:
		default:
			return errno
		}
	}
}

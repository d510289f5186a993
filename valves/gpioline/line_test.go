package gpioline

import (
	"errors"
	"fmt"
	"testing"
	"unsafe"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"
)

// fakeKernel models chips, lines and who holds them, by the rules of
// linux/gpio.h.
type fakeKernel struct {
	fakes    []fakeChip
	fds      map[int]any // *fakeChip or *held
	next     int
	trace    []string // what the pins did
	setFails error
}

type fakeChip struct {
	path, name, label string
	lines             int
	holders           map[uint32]string
	level             map[uint32]bool
}

type held struct {
	chip   *fakeChip
	offset uint32
}

var errBusy = errors.New("device or resource busy")

func newKernel(chips ...fakeChip) *fakeKernel {
	k := &fakeKernel{fakes: chips, fds: map[int]any{}, next: 3}
	for i := range k.fakes {
		k.fakes[i].holders, k.fakes[i].level = map[uint32]string{}, map[uint32]bool{}
	}
	return k
}

func (k *fakeKernel) give(x any) int { k.next++; k.fds[k.next] = x; return k.next }

func (k *fakeKernel) chips() ([]string, error) {
	var out []string
	for _, c := range k.fakes {
		out = append(out, c.path)
	}
	return out, nil
}

func (k *fakeKernel) open(path string) (int, error) {
	for i := range k.fakes {
		if k.fakes[i].path == path {
			return k.give(&k.fakes[i]), nil
		}
	}
	return -1, errors.New("no such file")
}

func (k *fakeKernel) close(fd int) error {
	if h, ok := k.fds[fd].(*held); ok {
		delete(h.chip.holders, h.offset)
	}
	if _, ok := k.fds[fd]; !ok {
		return errors.New("bad file descriptor")
	}
	delete(k.fds, fd)
	return nil
}

func (k *fakeKernel) chipInfo(fd int, c *chipInfo) error {
	f := k.fds[fd].(*fakeChip)
	copy(c.name[:], f.name)
	copy(c.label[:], f.label)
	c.lines = uint32(f.lines)
	return nil
}

func (k *fakeKernel) lineInfo(fd int, l *lineInfo) error {
	f := k.fds[fd].(*fakeChip)
	if h, ok := f.holders[l.offset]; ok {
		copy(l.consumer[:], h)
		l.flags = flagUsed
	}
	return nil
}

func (k *fakeKernel) line(fd int, r *lineRequest) error {
	f := k.fds[fd].(*fakeChip)
	if r.config.flags&flagInput != 0 {
		return k.inputLine(f, r)
	}
	if r.numLines != 1 || r.config.flags != flagOutput || r.config.numAttrs != 1 || r.consumer[nameSize-1] != 0 {
		return errors.New("invalid argument")
	}
	if _, ok := f.holders[r.offsets[0]]; ok {
		return errBusy
	}
	a := r.config.attrs[0]
	if a.attr.id != attrOutputValues || a.mask != 1 {
		return errors.New("invalid argument")
	}
	f.holders[r.offsets[0]] = text(r.consumer[:])
	f.level[r.offsets[0]] = a.attr.value&1 != 0
	k.trace = append(k.trace, fmt.Sprintf("request %v", a.attr.value&1 != 0))
	r.fd = int32(k.give(&held{chip: f, offset: r.offsets[0]}))
	return nil
}

func (k *fakeKernel) values(fd int, v *lineValues) error {
	h := k.fds[fd].(*held)
	if h.chip.level[h.offset] {
		v.bits = v.mask & 1
	}
	return nil
}

func (k *fakeKernel) setValues(fd int, v *lineValues) error {
	if k.setFails != nil {
		return k.setFails
	}
	h := k.fds[fd].(*held)
	h.chip.level[h.offset] = v.bits&1 != 0
	k.trace = append(k.trace, fmt.Sprintf("set %v", v.bits&1 != 0))
	return nil
}

func (k *fakeKernel) busy(err error) bool { return errors.Is(err, errBusy) }

func twoChips() *fakeKernel {
	return newKernel(
		fakeChip{path: "/dev/gpiochip0", name: "gpiochip0", label: "brcmvirt-gpio", lines: 2},
		fakeChip{path: "/dev/gpiochip1", name: "gpiochip1", label: "pinctrl-main", lines: 54},
		fakeChip{path: "/dev/gpiochip4", name: "gpiochip1", label: "pinctrl-main", lines: 54}, // a link to the same
	)
}

// TestABI holds the structs and numbers against what the C compiler gives for
// linux/gpio.h of the Linux 6.1 user-space headers (computed independently with
// sizeof and offsetof; the numbers hold on ARM, arm64, amd64 and riscv64).
func TestABI(t *testing.T) {
	for _, c := range []struct {
		name      string
		got, want uintptr
	}{
		{"sizeof gpiochip_info", unsafe.Sizeof(chipInfo{}), 68},
		{"sizeof gpio_v2_line_request", unsafe.Sizeof(lineRequest{}), 592},
		{"sizeof gpio_v2_line_config", unsafe.Sizeof(lineConfig{}), 272},
		{"sizeof gpio_v2_line_event", unsafe.Sizeof(lineEvent{}), 48},
		{"offsetof gpio_v2_line_event.line_seqno", unsafe.Offsetof(lineEvent{}.lineSeqno), 20},
		{"sizeof gpio_v2_line_info", unsafe.Sizeof(lineInfo{}), 256},
		{"sizeof gpio_v2_line_values", unsafe.Sizeof(lineValues{}), 16},
		{"offsetof request.consumer", unsafe.Offsetof(lineRequest{}.consumer), 256},
		{"offsetof request.config", unsafe.Offsetof(lineRequest{}.config), 288},
		{"offsetof request.num_lines", unsafe.Offsetof(lineRequest{}.numLines), 560},
		{"offsetof request.fd", unsafe.Offsetof(lineRequest{}.fd), 588},
		{"offsetof config.attrs", unsafe.Offsetof(lineConfig{}.attrs), 32},
		{"offsetof config_attribute.mask", unsafe.Offsetof(configAttribute{}.mask), 16},
		{"offsetof line_attribute.values", unsafe.Offsetof(lineAttribute{}.value), 8},
		{"offsetof info.offset", unsafe.Offsetof(lineInfo{}.offset), 64},
		{"offsetof info.flags", unsafe.Offsetof(lineInfo{}.flags), 72},
		{"GPIO_GET_CHIPINFO_IOCTL", getChipInfo, 0x8044b401},
		{"GPIO_V2_GET_LINEINFO_IOCTL", getLineInfo, 0xc100b405},
		{"GPIO_V2_GET_LINE_IOCTL", getLine, 0xc250b407},
		{"GPIO_V2_LINE_GET_VALUES_IOCTL", getValues, 0xc010b40e},
		{"GPIO_V2_LINE_SET_VALUES_IOCTL", setValues, 0xc010b40f},
	} {
		assert.Equal(t, c.want, c.got, c.name)
	}
}

func TestLine(t *testing.T) {
	t.Run("the first level is given with the request", func(t *testing.T) {
		for _, level := range []gpio.Level{gpio.Low, gpio.High} {
			k := twoChips()
			l, err := newLine(k, "pinctrl-main", 17, Opts{})
			require.NoError(t, err)
			assert.Empty(t, k.trace, "New touches nothing")
			require.NoError(t, l.Out(level))
			assert.Equal(t, []string{fmt.Sprintf("request %v", bool(level))}, k.trace)
			require.NoError(t, l.Out(!level))
			got, err := l.OutputLevel()
			require.NoError(t, err)
			assert.Equal(t, !level, got)
			assert.Equal(t, "gateway", k.fakes[1].holders[17])
			require.NoError(t, l.Close())
			assert.Empty(t, k.fds, "every descriptor is closed")
			require.NoError(t, l.Close())
		}
	})
	t.Run("a busy line names its holder and comes back when it is free", func(t *testing.T) {
		k := twoChips()
		k.fakes[1].holders[17] = "door bell"
		l, err := newLine(k, "pinctrl-main", 17, Opts{})
		require.NoError(t, err)
		for range 2 {
			err = l.Out(gpio.Low)
			require.ErrorIs(t, err, ErrBusy)
			require.ErrorContains(t, err, `"door bell"`)
		}
		_, err = l.OutputLevel()
		require.ErrorContains(t, err, "not held")
		delete(k.fakes[1].holders, 17)
		require.NoError(t, l.Out(gpio.Low))
		assert.Len(t, k.fds, 1, "failed attempts leak nothing")
	})
	t.Run("a descriptor that fails is not kept", func(t *testing.T) {
		k := twoChips()
		l, err := newLine(k, "pinctrl-main", 17, Opts{})
		require.NoError(t, err)
		require.NoError(t, l.Out(gpio.High))
		k.setFails = errors.New("no such device")
		require.ErrorIs(t, l.Out(gpio.Low), k.setFails)
		k.setFails = nil
		require.NoError(t, l.Out(gpio.Low))
		assert.Equal(t, []string{"request true", "request false"}, k.trace)
	})
	t.Run("the chip", func(t *testing.T) {
		for _, c := range []struct{ name, label, want string }{
			{"unknown label lists what there is", "pinctrl", `"pinctrl-main" at /dev/gpiochip1`},
			{"by path", "/dev/gpiochip1", ""},
			{"a path that is not there", "/dev/gpiochip9", "gpiochip9"},
			{"too few lines", "brcmvirt-gpio", "lines 0 to 1"},
		} {
			l, err := newLine(twoChips(), c.label, 17, Opts{})
			require.NoError(t, err)
			err = l.Out(gpio.Low)
			if c.want == "" {
				require.NoError(t, err, c.name)
			} else {
				require.ErrorContains(t, err, c.want, c.name)
			}
		}
		k := newKernel(
			fakeChip{path: "/dev/gpiochip0", name: "gpiochip0", label: "expander", lines: 8},
			fakeChip{path: "/dev/gpiochip1", name: "gpiochip1", label: "expander", lines: 8})
		l, err := newLine(k, "expander", 1, Opts{})
		require.NoError(t, err)
		require.ErrorContains(t, l.Out(gpio.Low), "give the path")
	})
	t.Run("refused before the kernel is asked", func(t *testing.T) {
		for _, c := range []struct {
			label    string
			offset   int
			consumer string
		}{{"", 1, ""}, {"c", -1, ""}, {"c", 1 << 20, ""}, {"c", 1, "a name that is far too long for the kernel"}} {
			_, err := newLine(twoChips(), c.label, c.offset, Opts{Consumer: c.consumer})
			require.Error(t, err)
		}
		l, err := newLine(twoChips(), "pinctrl-main", 1, Opts{})
		require.NoError(t, err)
		require.Error(t, l.PWM(gpio.DutyHalf, 1))
		require.NoError(t, l.Halt())
	})
}

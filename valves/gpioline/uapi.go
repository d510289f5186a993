package gpioline

import (
	"encoding/binary"
	"unsafe"
)

// The structs of linux/gpio.h, uAPI v2. They are laid out without implicit
// padding, so that 32-bit ARM, where Go aligns uint64 to four bytes, and 64-bit
// machines agree. Sizes are asserted below, at compile time on every machine.
const (
	nameSize    = 32 // GPIO_MAX_NAME_SIZE
	linesMax    = 64 // GPIO_V2_LINES_MAX
	numAttrsMax = 10 // GPIO_V2_LINE_NUM_ATTRS_MAX
)

// chipInfo is struct gpiochip_info.
type chipInfo struct {
	name, label [nameSize]byte
	lines       uint32
}

// lineAttribute is struct gpio_v2_line_attribute; value is its union.
type lineAttribute struct {
	id, _ uint32
	value uint64
}

// configAttribute is struct gpio_v2_line_config_attribute.
type configAttribute struct {
	attr lineAttribute
	mask uint64
}

// lineConfig is struct gpio_v2_line_config.
type lineConfig struct {
	flags    uint64
	numAttrs uint32
	_        [5]uint32
	attrs    [numAttrsMax]configAttribute
}

// lineRequest is struct gpio_v2_line_request.
type lineRequest struct {
	offsets         [linesMax]uint32
	consumer        [nameSize]byte
	config          lineConfig
	numLines        uint32
	eventBufferSize uint32
	_               [5]uint32
	fd              int32
}

// lineInfo is struct gpio_v2_line_info.
type lineInfo struct {
	name, consumer   [nameSize]byte
	offset, numAttrs uint32
	flags            uint64
	attrs            [numAttrsMax]lineAttribute
	_                [4]uint32
}

// lineValues is struct gpio_v2_line_values.
type lineValues struct {
	bits, mask uint64
}

// lineEvent is struct gpio_v2_line_event.
type lineEvent struct {
	timestampNS uint64
	id, offset  uint32
	seqno       uint32 // among all lines of the request
	lineSeqno   uint32
	_           [6]uint32
}

// Sizes in bytes, as the C compiler gives them for linux/gpio.h.
var (
	_ [68]byte  = [unsafe.Sizeof(chipInfo{})]byte{}
	_ [16]byte  = [unsafe.Sizeof(lineAttribute{})]byte{}
	_ [24]byte  = [unsafe.Sizeof(configAttribute{})]byte{}
	_ [272]byte = [unsafe.Sizeof(lineConfig{})]byte{}
	_ [592]byte = [unsafe.Sizeof(lineRequest{})]byte{}
	_ [256]byte = [unsafe.Sizeof(lineInfo{})]byte{}
	_ [16]byte  = [unsafe.Sizeof(lineValues{})]byte{}
	_ [48]byte  = [unsafe.Sizeof(lineEvent{})]byte{}
)

const (
	flagUsed     = 1 << 0  // GPIO_V2_LINE_FLAG_USED
	flagInput    = 1 << 2  // GPIO_V2_LINE_FLAG_INPUT
	flagOutput   = 1 << 3  // GPIO_V2_LINE_FLAG_OUTPUT
	flagRising   = 1 << 4  // GPIO_V2_LINE_FLAG_EDGE_RISING
	flagFalling  = 1 << 5  // GPIO_V2_LINE_FLAG_EDGE_FALLING
	flagPullUp   = 1 << 8  // GPIO_V2_LINE_FLAG_BIAS_PULL_UP
	flagPullDown = 1 << 9  // GPIO_V2_LINE_FLAG_BIAS_PULL_DOWN
	flagNoPull   = 1 << 10 // GPIO_V2_LINE_FLAG_BIAS_DISABLED

	attrOutputValues = 2 // GPIO_V2_LINE_ATTR_ID_OUTPUT_VALUES
	attrDebounce     = 3 // GPIO_V2_LINE_ATTR_ID_DEBOUNCE

	eventRising  = 1 // GPIO_V2_LINE_EVENT_RISING_EDGE
	eventFalling = 2 // GPIO_V2_LINE_EVENT_FALLING_EDGE
)

// ioctl numbers in the encoding that ARM, arm64, amd64 and riscv64 share:
// direction in bits 30-31, size in 16-29, type in 8-15, number in 0-7.
const (
	ioRead  = 2 << 30
	ioWrite = 1 << 30
	ioType  = 0xB4 << 8

	getChipInfo = ioRead | unsafe.Sizeof(chipInfo{})<<16 | ioType | 0x01
	getLineInfo = ioRead | ioWrite | unsafe.Sizeof(lineInfo{})<<16 | ioType | 0x05
	getLine     = ioRead | ioWrite | unsafe.Sizeof(lineRequest{})<<16 | ioType | 0x07
	getValues   = ioRead | ioWrite | unsafe.Sizeof(lineValues{})<<16 | ioType | 0x0E
	setValues   = ioRead | ioWrite | unsafe.Sizeof(lineValues{})<<16 | ioType | 0x0F
)

// text is a fixed-size C string.
func text(b []byte) string {
	for i, c := range b {
		if c == 0 {
			return string(b[:i])
		}
	}
	return string(b)
}

// outputRequest asks for one line as an output that starts at that level.
func outputRequest(offset uint32, consumer string, high bool) lineRequest {
	var r lineRequest
	r.offsets[0], r.numLines = offset, 1
	// The kernel wants a terminated string.
	copy(r.consumer[:nameSize-1], consumer)
	r.config.flags = flagOutput
	r.config.numAttrs = 1
	r.config.attrs[0] = configAttribute{attr: lineAttribute{id: attrOutputValues}, mask: 1}
	if high {
		r.config.attrs[0].attr.value = 1
	}
	return r
}

// inputRequest asks for one line as an input with those flags. The kernel keeps
// queue events, 0 for its usual 16.
func inputRequest(offset uint32, consumer string, flags uint64, debounceUS, queue uint32) lineRequest {
	var r lineRequest
	r.offsets[0], r.numLines, r.eventBufferSize = offset, 1, queue
	copy(r.consumer[:nameSize-1], consumer)
	r.config.flags = flagInput | flags
	if debounceUS > 0 {
		r.config.numAttrs = 1
		a := &r.config.attrs[0]
		a.attr.id, a.mask = attrDebounce, 1
		// The period is the 32-bit member of the union, at its beginning.
		*(*uint32)(unsafe.Pointer(&a.attr.value)) = debounceUS
	}
	return r
}

// events decodes what a read of a line returned: whole events, in the machine's
// byte order.
func events(b []byte, each func(lineEvent)) {
	const size = int(unsafe.Sizeof(lineEvent{}))
	for ; len(b) >= size; b = b[size:] {
		o := binary.NativeEndian
		each(lineEvent{timestampNS: o.Uint64(b), id: o.Uint32(b[8:]), offset: o.Uint32(b[12:]), seqno: o.Uint32(b[16:]), lineSeqno: o.Uint32(b[20:])})
	}
}

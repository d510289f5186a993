package mqtt

import (
	"io"
	"net"
	"testing"

	"github.com/stretchr/testify/assert"
)

// chunks is a connection whose bytes arrive in pieces of the given size.
type chunks struct {
	net.Conn
	data []byte
	size int
}

func (c *chunks) Read(p []byte) (int, error) {
	if len(c.data) == 0 {
		return 0, io.EOF
	}
	n := copy(p[:min(len(p), c.size)], c.data)
	c.data = c.data[n:]
	return n, nil
}

func readAll(data []byte, size, limit int) (int, error) {
	f := &frameLimit{Conn: &chunks{data: data, size: size}, max: limit}
	b, err := io.ReadAll(f)
	return len(b), err
}

func TestFrameLimit(t *testing.T) {
	packet := func(n int) []byte {
		b := []byte{0x30}
		for v := n; ; {
			c := byte(v & 0x7f)
			if v >>= 7; v > 0 {
				b = append(b, c|0x80)
				continue
			}
			b = append(b, c)
			break
		}
		return append(b, make([]byte, n)...)
	}
	// The borders of the length's encoding, MQTT 3.1.1 table 2.4 (from memory).
	for _, n := range []int{0, 1, 127, 128, 16383, 16384, 2097151, 2097152} {
		two := append(packet(n), packet(3)...)
		for _, size := range []int{1, 2, 7, 1 << 20} {
			if size < 7 && n > 1<<20 {
				continue // slow and the same
			}
			_, err := readAll(two, size, n)
			if n >= 3 {
				assert.NoError(t, err, "%d in pieces of %d", n, size)
			}
			_, err = readAll(two, size, n-1)
			assert.Error(t, err, "%d in pieces of %d", n, size)
		}
	}
	_, err := readAll([]byte{0x30, 0xff, 0xff, 0xff, 0xff, 0x01}, 1, 1<<30)
	assert.ErrorContains(t, err, "malformed")
}

func FuzzFrameLimit(f *testing.F) {
	f.Add([]byte{0x20, 2, 0, 0, 0x30, 0x83, 0x01}, uint8(1))
	f.Add([]byte{0x30, 0xff, 0xff, 0xff, 0xff}, uint8(3))
	f.Fuzz(func(t *testing.T, data []byte, size uint8) {
		const limit = 200
		got, err := readAll(data, int(size)+1, limit)
		// The dumb second version: walk the packets in one piece.
		wantErr := false
		for i := 0; i < len(data); {
			i++
			length, shift := 0, 0
			for {
				if i >= len(data) {
					break
				}
				c := data[i]
				i++
				length |= int(c&0x7f) << shift
				shift += 7
				if c&0x80 == 0 {
					wantErr = wantErr || length > limit
					i += length
					break
				}
				if shift == 28 {
					wantErr = true
					break
				}
			}
			if wantErr {
				break
			}
		}
		if (err != nil) != wantErr {
			t.Fatalf("error %v, expected one: %v, for % x", err, wantErr, data)
		}
		if err == nil && got != len(data) {
			t.Fatalf("%d of %d bytes", got, len(data))
		}
	})
}

package mqtt

import (
	"fmt"
	"net"
)

// frameLimit ends a connection whose next packet is announced larger than
// allowed. The library believes any length up to 256 MB and allocates it at
// once, which a board with 512 MB cannot afford to let a broker choose.
//
// It follows the packet boundaries of MQTT 3.1.1 (section 2.2: one byte of type
// and flags, then a length of one to four bytes, 7 bits each, low first).
type frameLimit struct {
	net.Conn
	max int
	// body is what is left of the current packet; header counts the header
	// bytes seen of the next one, length their value so far.
	body, header, length int
}

func (f *frameLimit) Read(p []byte) (int, error) {
	n, err := f.Conn.Read(p)
	for b := p[:n]; len(b) > 0; {
		if f.body > 0 {
			k := min(f.body, len(b))
			f.body -= k
			b = b[k:]
			continue
		}
		c := b[0]
		b = b[1:]
		f.header++
		if f.header == 1 {
			continue
		}
		f.length |= int(c&0x7f) << (7 * (f.header - 2))
		if c&0x80 != 0 {
			if f.header == 5 {
				return 0, fmt.Errorf("mqtt: malformed packet length from the broker")
			}
			continue
		}
		if f.length > f.max {
			return 0, fmt.Errorf("mqtt: the broker announced a packet of %d bytes, allowed are %d", f.length, f.max)
		}
		f.body, f.header, f.length = f.length, 0, 0
	}
	return n, err
}

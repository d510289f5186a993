package probe

import (
	"bufio"
	"context"
	"encoding/binary"
	"fmt"
	"net"
	"runtime"
	"sync/atomic"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/require"

	"fabricpot/control/garden"
	"fabricpot/mqtt"
	"fabricpot/mqtt/internal/rig"
)

const thousand = 1000

// firehose publishes prepared readings of a thousand probes as fast as whoever
// counts in heard keeps up with, never more than window ahead, so that no
// broker has to drop any.
type firehose struct {
	conn  net.Conn
	w     *bufio.Writer
	packs [][]byte
	sent  int64
}

func newFirehose(t testing.TB, addr string) *firehose {
	conn, err := net.Dial("tcp", addr)
	require.NoError(t, err)
	t.Cleanup(func() { conn.Close() })
	// CONNECT of MQTT 3.1.1: protocol name and level, clean session, no
	// keep-alive, client id.
	_, err = conn.Write([]byte("\x10\x10\x00\x04MQTT\x04\x02\x00\x00\x00\x04hose"))
	require.NoError(t, err)
	ack := make([]byte, 4)
	_, err = conn.Read(ack)
	require.NoError(t, err)
	f := &firehose{conn: conn, w: bufio.NewWriter(conn)}
	for i := range thousand {
		name := fmt.Sprintf("fabricpot/roof/probe/p-%d", i)
		f.packs = append(f.packs, publishPacket(name, fmt.Sprintf("0.%03d", 100+i%400)))
	}
	return f
}

func publishPacket(name, text string) []byte {
	n := 2 + len(name) + len(text)
	b := []byte{0x30, byte(n)}
	b = binary.BigEndian.AppendUint16(b, uint16(len(name)))
	return append(append(b, name...), text...)
}

func (f *firehose) pour(n int, heard *atomic.Int64) {
	const window = 2000
	target := f.sent + int64(n)
	for f.sent < target {
		if f.sent-heard.Load() >= window {
			_ = f.w.Flush()
			runtime.Gosched()
			continue
		}
		_, _ = f.w.Write(f.packs[f.sent%thousand])
		f.sent++
	}
	_ = f.w.Flush()
	for heard.Load() < target {
		time.Sleep(100 * time.Microsecond)
	}
}

// bare is a subscriber that only counts, with the library's recommended
// settings.
func bare(t testing.TB, addr string) *atomic.Int64 {
	var n atomic.Int64
	c := rig.Outsider(t, addr, "bare", func(o *paho.ClientOptions) { o.SetOrderMatters(false) })
	tok := c.Subscribe("fabricpot/roof/probe/+", 0, func(paho.Client, paho.Message) { n.Add(1) })
	require.True(t, tok.WaitTimeout(30*time.Second))
	return &n
}

// whole is the link with a table behind it, without the limit per probe: a
// message has been handled when its reading can be asked for.
func whole(t testing.TB, addr string) (*atomic.Int64, *Table) {
	var n atomic.Int64
	probes := make([]garden.Probe, thousand)
	for i := range probes {
		probes[i] = remote(fmt.Sprintf("p-%d", i), garden.RemoteInput{Quantity: garden.RemoteWater})
	}
	tb := table(t, Options{Rate: -1}, probes...)
	ctx, cancel := context.WithCancel(context.Background())
	t.Cleanup(cancel)
	o := rig.Quick(addr, "whole")
	o.KeepAlive = 30 * time.Second
	l := rig.Link(t, o, func(l *mqtt.Link) {
		in, err := l.Subscribe(tb.Filters()[0], 0, 4096)
		require.NoError(t, err)
		go func() {
			for {
				select {
				case <-ctx.Done():
					return
				case m := <-in.C():
					tb.Take(m)
					n.Add(1)
				}
			}
		}()
	})
	rig.Up(t, l)
	return &n, tb
}

// BenchmarkReadings measures both in one run, in turns, so that a busy machine
// slows both. The ratio is the throughput of the whole over the bare one.
func BenchmarkReadings(b *testing.B) {
	const round = 20000
	var took [2]time.Duration
	b.ReportAllocs()
	for range b.N {
		for i := range took {
			s := rig.Embedded(b)
			var n *atomic.Int64
			if i == 0 {
				n = bare(b, s.Addr())
			} else {
				n, _ = whole(b, s.Addr())
			}
			f := newFirehose(b, s.Addr())
			f.pour(round/4, n) // warm
			start := time.Now()
			f.pour(round, n)
			took[i] += time.Since(start)
			s.Kill(b)
		}
	}
	each := float64(round) * float64(b.N)
	b.ReportMetric(each/took[0].Seconds(), "bare-msg/s")
	b.ReportMetric(each/took[1].Seconds(), "whole-msg/s")
	b.ReportMetric(took[0].Seconds()/took[1].Seconds(), "ratio")
	b.ReportMetric(0, "ns/op")
}

// BenchmarkMemory pours a million readings through and reports how much the
// heap has grown between the first tenth and the end.
func BenchmarkMemory(b *testing.B) {
	heap := func() float64 {
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		return float64(m.HeapAlloc)
	}
	for range b.N {
		s := rig.Embedded(b)
		n, tb := whole(b, s.Addr())
		f := newFirehose(b, s.Addr())
		f.pour(100_000, n)
		before := heap()
		f.pour(900_000, n)
		b.ReportMetric((heap()-before)/1024, "KiB-grown")
		require.NotZero(b, tb.Counts("p-1").Accepted)
		s.Kill(b)
	}
}

func BenchmarkTake(b *testing.B) {
	for name, text := range map[string]string{"number": "0.417", "json": `{"value":0.417,"seq":7,"time":1780000000}`} {
		b.Run(name, func(b *testing.B) {
			tb := table(b, Options{Rate: -1}, own(garden.RemoteWater))
			m := mqtt.Message{Topic: ownTopic, Payload: []byte(text), At: at(0)}
			b.ReportAllocs()
			for b.Loop() {
				tb.Take(m)
			}
		})
	}
}

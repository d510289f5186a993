package expose

import (
	"os"

	"github.com/prometheus/procfs"
)

// Process adds what the kernel knows of this process. What it does not tell is
// left out.
func Process(f *Figures) {
	p, err := procfs.NewProc(os.Getpid())
	if err != nil {
		return
	}
	put := func(name, help, kind string, v float64) {
		f.Add(&Desc{Name: name, Help: help, Kind: kind}, v)
	}
	if s, err := p.Stat(); err == nil {
		put("process_cpu_seconds_total", "Total user and system CPU time spent in seconds.", Counter, s.CPUTime())
		put("process_virtual_memory_bytes", "Virtual memory size in bytes.", Gauge, float64(s.VirtualMemory()))
		put("process_resident_memory_bytes", "Resident memory size in bytes.", Gauge, float64(s.ResidentMemory()))
		if t, err := s.StartTime(); err == nil {
			put("process_start_time_seconds", "Start time of the process since unix epoch in seconds.", Gauge, t)
		}
	}
	if n, err := p.FileDescriptorsLen(); err == nil {
		put("process_open_fds", "Number of open file descriptors.", Gauge, float64(n))
	}
	if l, err := p.Limits(); err == nil {
		put("process_max_fds", "Maximum number of open file descriptors.", Gauge, float64(l.OpenFiles))
		put("process_virtual_memory_max_bytes", "Maximum amount of virtual memory available in bytes.", Gauge, float64(l.AddressSpace))
	}
	if n, err := p.Netstat(); err == nil {
		or := func(v *float64) float64 {
			if v == nil {
				return 0
			}
			return *v
		}
		put("process_network_receive_bytes_total", "Number of bytes received by the process over the network.", Counter, or(n.InOctets))
		put("process_network_transmit_bytes_total", "Number of bytes sent by the process over the network.", Counter, or(n.OutOctets))
	}
}

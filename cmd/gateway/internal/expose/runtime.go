package expose

import (
	"runtime"
	"runtime/debug"
	"runtime/metrics"
	"time"
)

// Runtime adds what Go's runtime knows of the program, under the names and words
// by which the client library of collectors tells it.
func Runtime(f *Figures) {
	f.Add(&Desc{Name: "go_goroutines", Help: "Number of goroutines that currently exist.", Kind: Gauge}, float64(runtime.NumGoroutine()))
	threads, _ := runtime.ThreadCreateProfile(nil)
	f.Add(&Desc{Name: "go_threads", Help: "Number of OS threads created.", Kind: Gauge}, float64(threads))
	f.Add(&Desc{Name: "go_info", Help: "Information about the Go environment.", Kind: Gauge, Labels: []string{"version"}}, 1, runtime.Version())

	gc := debug.GCStats{PauseQuantiles: make([]time.Duration, 5)}
	debug.ReadGCStats(&gc)
	pauses := make([]float64, len(gc.PauseQuantiles))
	for i, p := range gc.PauseQuantiles {
		pauses[i] = p.Seconds()
	}
	f.AddSummary(&Desc{Name: "go_gc_duration_seconds", Help: "A summary of the wall-time pause (stop-the-world) duration in garbage collection cycles.", Kind: Summary},
		[]float64{0, 0.25, 0.5, 0.75, 1}, pauses, gc.PauseTotal.Seconds(), uint64(gc.NumGC))
	f.Add(&Desc{Name: "go_memstats_last_gc_time_seconds", Help: "Number of seconds since 1970 of last garbage collection.", Kind: Gauge}, float64(gc.LastGC.UnixNano())/1e9)

	figures := runtimeFigures()
	var all []metrics.Sample
	for _, r := range figures {
		for _, name := range r.sum {
			all = append(all, metrics.Sample{Name: name})
		}
	}
	metrics.Read(all)
	for _, r := range figures {
		var v uint64
		for range r.sum {
			if all[0].Value.Kind() == metrics.KindUint64 {
				v += all[0].Value.Uint64()
			}
			all = all[1:]
		}
		f.Add(&Desc{Name: r.name, Help: r.help, Kind: r.kind}, float64(v))
	}
}

// runtimeFigure is a sum of the runtime's own.
type runtimeFigure struct {
	name, help, kind string
	sum              []string
}

func runtimeFigures() []runtimeFigure {
	return []runtimeFigure{
		{"go_memstats_alloc_bytes", "Number of bytes allocated in heap and currently in use. Equals to /memory/classes/heap/objects:bytes.", Gauge, []string{"/memory/classes/heap/objects:bytes"}},
		{"go_memstats_alloc_bytes_total", "Total number of bytes allocated in heap until now, even if released already. Equals to /gc/heap/allocs:bytes.", Counter, []string{"/gc/heap/allocs:bytes"}},
		{"go_memstats_sys_bytes", "Number of bytes obtained from system. Equals to /memory/classes/total:byte.", Gauge, []string{"/memory/classes/total:bytes"}},
		{"go_memstats_mallocs_total", "Total number of heap objects allocated, both live and gc-ed. Semantically a counter version for go_memstats_heap_objects gauge. Equals to /gc/heap/allocs:objects + /gc/heap/tiny/allocs:objects.", Counter, []string{"/gc/heap/allocs:objects", "/gc/heap/tiny/allocs:objects"}},
		{"go_memstats_frees_total", "Total number of heap objects frees. Equals to /gc/heap/frees:objects + /gc/heap/tiny/allocs:objects.", Counter, []string{"/gc/heap/frees:objects", "/gc/heap/tiny/allocs:objects"}},
		{"go_memstats_heap_alloc_bytes", "Number of heap bytes allocated and currently in use, same as go_memstats_alloc_bytes. Equals to /memory/classes/heap/objects:bytes.", Gauge, []string{"/memory/classes/heap/objects:bytes"}},
		{"go_memstats_heap_sys_bytes", "Number of heap bytes obtained from system. Equals to /memory/classes/heap/objects:bytes + /memory/classes/heap/unused:bytes + /memory/classes/heap/released:bytes + /memory/classes/heap/free:bytes.", Gauge, []string{"/memory/classes/heap/objects:bytes", "/memory/classes/heap/unused:bytes", "/memory/classes/heap/released:bytes", "/memory/classes/heap/free:bytes"}},
		{"go_memstats_heap_idle_bytes", "Number of heap bytes waiting to be used. Equals to /memory/classes/heap/released:bytes + /memory/classes/heap/free:bytes.", Gauge, []string{"/memory/classes/heap/released:bytes", "/memory/classes/heap/free:bytes"}},
		{"go_memstats_heap_inuse_bytes", "Number of heap bytes that are in use. Equals to /memory/classes/heap/objects:bytes + /memory/classes/heap/unused:bytes", Gauge, []string{"/memory/classes/heap/objects:bytes", "/memory/classes/heap/unused:bytes"}},
		{"go_memstats_heap_released_bytes", "Number of heap bytes released to OS. Equals to /memory/classes/heap/released:bytes.", Gauge, []string{"/memory/classes/heap/released:bytes"}},
		{"go_memstats_heap_objects", "Number of currently allocated objects. Equals to /gc/heap/objects:objects.", Gauge, []string{"/gc/heap/objects:objects"}},
		{"go_memstats_stack_inuse_bytes", "Number of bytes obtained from system for stack allocator in non-CGO environments. Equals to /memory/classes/heap/stacks:bytes.", Gauge, []string{"/memory/classes/heap/stacks:bytes"}},
		{"go_memstats_stack_sys_bytes", "Number of bytes obtained from system for stack allocator. Equals to /memory/classes/heap/stacks:bytes + /memory/classes/os-stacks:bytes.", Gauge, []string{"/memory/classes/heap/stacks:bytes", "/memory/classes/os-stacks:bytes"}},
		{"go_memstats_mspan_inuse_bytes", "Number of bytes in use by mspan structures. Equals to /memory/classes/metadata/mspan/inuse:bytes.", Gauge, []string{"/memory/classes/metadata/mspan/inuse:bytes"}},
		{"go_memstats_mspan_sys_bytes", "Number of bytes used for mspan structures obtained from system. Equals to /memory/classes/metadata/mspan/inuse:bytes + /memory/classes/metadata/mspan/free:bytes.", Gauge, []string{"/memory/classes/metadata/mspan/inuse:bytes", "/memory/classes/metadata/mspan/free:bytes"}},
		{"go_memstats_mcache_inuse_bytes", "Number of bytes in use by mcache structures. Equals to /memory/classes/metadata/mcache/inuse:bytes.", Gauge, []string{"/memory/classes/metadata/mcache/inuse:bytes"}},
		{"go_memstats_mcache_sys_bytes", "Number of bytes used for mcache structures obtained from system. Equals to /memory/classes/metadata/mcache/inuse:bytes + /memory/classes/metadata/mcache/free:bytes.", Gauge, []string{"/memory/classes/metadata/mcache/inuse:bytes", "/memory/classes/metadata/mcache/free:bytes"}},
		{"go_memstats_buck_hash_sys_bytes", "Number of bytes used by the profiling bucket hash table. Equals to /memory/classes/profiling/buckets:bytes.", Gauge, []string{"/memory/classes/profiling/buckets:bytes"}},
		{"go_memstats_gc_sys_bytes", "Number of bytes used for garbage collection system metadata. Equals to /memory/classes/metadata/other:bytes.", Gauge, []string{"/memory/classes/metadata/other:bytes"}},
		{"go_memstats_other_sys_bytes", "Number of bytes used for other system allocations. Equals to /memory/classes/other:bytes.", Gauge, []string{"/memory/classes/other:bytes"}},
		{"go_memstats_next_gc_bytes", "Number of heap bytes when next garbage collection will take place. Equals to /gc/heap/goal:bytes.", Gauge, []string{"/gc/heap/goal:bytes"}},
		{"go_gc_gogc_percent", "Heap size target percentage configured by the user, otherwise 100. This value is set by the GOGC environment variable, and the runtime/debug.SetGCPercent function. Sourced from /gc/gogc:percent.", Gauge, []string{"/gc/gogc:percent"}},
		{"go_gc_gomemlimit_bytes", "Go runtime memory limit configured by the user, otherwise math.MaxInt64. This value is set by the GOMEMLIMIT environment variable, and the runtime/debug.SetMemoryLimit function. Sourced from /gc/gomemlimit:bytes.", Gauge, []string{"/gc/gomemlimit:bytes"}},
		{"go_sched_gomaxprocs_threads", "The current runtime.GOMAXPROCS setting, or the number of operating system threads that can execute user-level Go code simultaneously. Sourced from /sched/gomaxprocs:threads.", Gauge, []string{"/sched/gomaxprocs:threads"}},
	}
}

package house

import "strings"

const module = "fabricpot"

// below reports whether pkg is the package root or lies in its folder.
func below(pkg, root string) bool {
	full := module + "/" + root
	return pkg == full || strings.HasPrefix(pkg, full+"/")
}

// within reports whether pkg lies in any of the roots.
func within(pkg string, roots ...string) bool {
	for _, r := range roots {
		if below(pkg, r) {
			return true
		}
	}
	return false
}

// forbiddenImport says why package from may not import package to, or "".
// Only the shipped files count; tests may look wherever they need to.
func forbiddenImport(from, to string) string {
	std := func(names ...string) bool {
		for _, n := range names {
			if to == n || strings.HasPrefix(to, n+"/") {
				return true
			}
		}
		return false
	}
	switch {
	case to == "text/template" || to == "html/template":
		return "it calls methods by name, so that the linker can leave none out"
	case below(from, "control/garden") && strings.HasPrefix(to, module):
		return "the vocabulary imports nothing of ours"
	case below(from, "control"):
		if within(to, "sensors", "valves", "mqtt", "sim", "cmd", "testdata") {
			return "the brain imports no device, link, simulator or program"
		}
		if std("os", "net", "crypto/rand", "database/sql", "io/ioutil") {
			return "the brain does no input or output"
		}
	case below(from, "sim"):
		if within(to, "control/garden", "control/weather", "control/crop", "sim") {
			return ""
		}
		if strings.HasPrefix(to, module) {
			return "the simulator keeps its own physics and must not mark its own homework"
		}
	case within(from, "sensors", "valves", "mqtt"):
		if within(to, "cmd", "sim", "testdata") {
			return "imports point down only"
		}
		if below(from, "sensors") && within(to, "valves", "mqtt") ||
			below(from, "valves") && within(to, "sensors", "mqtt") {
			return "sensors and valves know neither each other nor the link"
		}
	case below(from, "testdata") && strings.HasPrefix(to, module):
		return "examples import nothing of ours"
	}
	return ""
}

// wallClock names the functions of package time that read or wait on a clock.
func wallClock(name string) bool {
	switch name {
	case "Now", "Sleep", "After", "AfterFunc", "Tick", "NewTimer", "NewTicker", "Since", "Until":
		return true
	}
	return false
}

// forbiddenCall says why a file of package from may not call pkg.name (a
// package-level function, or a method where recv is its receiver's type name), or
// "".
func forbiddenCall(from, file, pkg, recv, name string) string {
	pure := within(from, "control", "sim")
	switch {
	case pkg == "time" && recv == "" && wallClock(name) && (pure || within(from, "sensors", "valves")):
		return "time comes in as a value or through the one-method clock a package declares"
	case (pkg == "math/rand" || pkg == "math/rand/v2") && recv == "" && pure && !strings.HasPrefix(name, "New"):
		return "the global random source makes runs unrepeatable"
	case pkg == "periph.io/x/host/v3" && name == "Init" && from != module+"/cmd/gateway":
		return "the host is initialised by main's wiring only"
	case pkg == "periph.io/x/host/v3/sysfs" && strings.HasPrefix(name, "NewI2C") && from != module+"/cmd/gateway":
		return "buses are opened by main's wiring only"
	case pkg == module+"/valves" && name == "Open" && recv != "" && !below(from, "valves"):
		return "only the guard opens a line"
	case pkg == "time" && name == "LoadLocation" && !below(from, "cmd/gateway/internal/timezone"):
		return "a board may have no database of time zones: timezone.Load brings one along"
	case pkg == "os" && recv == "" && name == "Rename" && !below(from, "cmd/gateway/internal/place"):
		return "a new name is lost in a power cut until its folder is on the card: place.File, place.Written or place.Rename"
	case recv != "" && (name == "Out" || name == "PWM") && !movesPins(from, file, pkg):
		return "nothing outside valves can energise a coil"
	case pkg == module+"/valves/gpioline" && recv == "" && (name == "New" || name == "Listen") && from != module+"/cmd/gateway" && !below(from, "valves"):
		return "lines are requested by main's wiring only"
	}
	return ""
}

// movesPins reports whether a file may set a pin. Whose method it is does not
// matter, a pin's own, a library's or an interface's of one's own: each reaches a
// coil as well as the other. The season is no path to one: it plays what no gateway
// does, the coil of a node at the far end of a broker and a board that goes dark,
// and may do so to a pin of the bench alone.
func movesPins(from, file, pkg string) bool {
	if within(from, "valves", "sim/bench") {
		return true
	}
	return below(from, "cmd/gateway/internal/season") && (file == "campaign_far.go" || file == "bench.go") && below(pkg, "sim/bench")
}

// forbiddenConst says why package from may not use the constant pkg.name, or "".
func forbiddenConst(from, file, pkg, name string) string {
	if pkg == module+"/mqtt/topic" && name == "ValveSet" && !within(from, "mqtt/topic", "mqtt/valve") &&
		!(below(from, "cmd/gateway/internal/season") && file == "campaign_far.go") {
		return "a remote valve hears mqtt/valve alone, which demands a grant"
	}
	return ""
}

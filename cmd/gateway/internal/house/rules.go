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

// forbiddenCall says why package from may not call pkg.name (a package-level
// function, or a method where recv is its receiver's type name), or "".
func forbiddenCall(from, pkg, recv, name string) string {
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
	case pkg == "os" && recv == "" && name == "Rename" && !below(from, "cmd/gateway/internal/place"):
		return "a new name is lost in a power cut until its folder is on the card: place.File, place.Written or place.Rename"
	case pkg == "periph.io/x/conn/v3/gpio" && (name == "Out" || name == "PWM") && !within(from, "valves", "sim/bench"):
		return "nothing outside valves can energise a coil"
	}
	return ""
}

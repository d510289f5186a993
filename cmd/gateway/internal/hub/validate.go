package hub

import (
	"encoding/json"
	"fmt"
	"regexp"
	"slices"
	"strings"

	"fabricpot/mqtt/topic"
)

// The rules of the discovery format as its reference hub checks them: its
// schema of the device document (root keys, device, origin, availability, and
// per component platform and unique_id) was READ in that hub's published source;
// which unit goes with which device class, and which state class, is from memory
// of the same source and of its sensor documentation.

// rootKeys may stand at the root of a device document; any other key makes the
// hub refuse all of it.
var rootKeys = []string{"device", "origin", "components", "availability", "availability_mode", "availability_topic", "availability_template", "payload_available", "payload_not_available", "state_topic", "command_topic", "qos", "encoding"}

// shared keys may stand in every component.
var sharedKeys = []string{"platform", "name", "unique_id", "default_entity_id", "entity_category", "icon", "enabled_by_default", "availability", "availability_mode", "availability_topic", "availability_template", "payload_available", "payload_not_available", "json_attributes_topic", "json_attributes_template", "qos", "encoding"}

func platformKeys(platform string) []string {
	switch platform {
	case "sensor":
		return []string{"state_topic", "value_template", "device_class", "unit_of_measurement", "state_class", "expire_after", "force_update", "suggested_display_precision"}
	case "binary_sensor":
		return []string{"state_topic", "value_template", "device_class", "payload_on", "payload_off", "expire_after", "off_delay"}
	case "button":
		return []string{"command_topic", "command_template", "payload_press", "device_class", "retain"}
	case "switch":
		return []string{"state_topic", "value_template", "command_topic", "command_template", "payload_on", "payload_off", "state_on", "state_off", "device_class", "optimistic", "retain"}
	case "valve":
		return []string{"state_topic", "value_template", "command_topic", "command_template", "payload_open", "payload_close", "payload_stop", "state_open", "state_closed", "state_opening", "state_closing", "reports_position", "device_class", "optimistic", "retain"}
	case "event":
		return []string{"state_topic", "value_template", "event_types", "device_class"}
	}
	return nil
}

// units lists what a sensor's device class may be measured in; an empty list
// means no unit at all.
func units(class string) ([]string, bool) {
	switch class {
	case "moisture":
		return []string{"%"}, true
	case "volume", "volume_storage", "water":
		return []string{"L", "mL", "gal", "m³", "ft³"}, true
	case "volume_flow_rate":
		return []string{"L/h", "L/min", "L/s", "m³/h", "gal/min"}, true
	case "duration":
		return []string{"d", "h", "min", "s", "ms"}, true
	case "temperature":
		return []string{"°C", "°F", "K"}, true
	case "timestamp", "date", "enum":
		return nil, true
	}
	return nil, false
}

var entityID = regexp.MustCompile(`^[a-z_]+\.[a-z0-9_]+$`)

// Validate judges a discovery message by the rules of the format and returns
// everything that is wrong.
func Validate(name string, retain bool, doc []byte) []error {
	var errs []error
	bad := func(format string, a ...any) { errs = append(errs, fmt.Errorf(format, a...)) }
	parts := strings.Split(name, "/")
	if n := len(parts); n < 4 || parts[n-1] != "config" || parts[n-3] != "device" {
		bad("topic %s, expected <prefix>/device/<id>/config", name)
	}
	if !retain {
		bad("the document must be retained")
	}
	var root map[string]json.RawMessage
	if err := json.Unmarshal(doc, &root); err != nil {
		bad("not a JSON object: %v", err)
		return errs
	}
	for k := range root {
		if !slices.Contains(rootKeys, k) {
			bad("unknown key %q at the root: the hub refuses the whole document", k)
		}
	}
	var device struct {
		Identifiers []string
		Name        string
	}
	if json.Unmarshal(root["device"], &device) != nil || len(device.Identifiers) == 0 || device.Name == "" {
		bad("device needs identifiers and a name")
	}
	var origin struct{ Name string }
	if json.Unmarshal(root["origin"], &origin) != nil || origin.Name == "" {
		bad("origin needs a name")
	}
	var comps map[string]map[string]any
	if json.Unmarshal(root["components"], &comps) != nil || len(comps) == 0 {
		bad("components are missing")
	}
	ids := map[string]string{}
	for key, c := range comps {
		if !validKey(key) {
			bad("component key %q, expected a-z, 0-9 and hyphens", key)
		}
		for _, e := range component(c).check() {
			bad("%s: %w", key, e)
		}
		for _, field := range []string{"unique_id", "default_entity_id"} {
			if v := text(c, field); v != "" {
				if other, twice := ids[field+v]; twice {
					bad("%s: %s %q is also that of %s", key, field, v, other)
				}
				ids[field+v] = key
			}
		}
	}
	return errs
}

func validKey(s string) bool {
	return s != "" && strings.Trim(s, "abcdefghijklmnopqrstuvwxyz0123456789-") == ""
}

func text(c map[string]any, key string) string {
	s, _ := c[key].(string)
	return s
}

func (c component) check() []error {
	var errs []error
	bad := func(format string, a ...any) { errs = append(errs, fmt.Errorf(format, a...)) }
	platform := text(c, "platform")
	keys := platformKeys(platform)
	if keys == nil {
		bad("platform %q is not one of ours", platform)
		return errs
	}
	if len(c) == 1 {
		return nil // taken away
	}
	for _, k := range c.keys() {
		if !slices.Contains(keys, k) && !slices.Contains(sharedKeys, k) {
			bad("%s knows no key %q", platform, k)
		}
		if strings.HasSuffix(k, "_topic") && !topic.ValidName(text(c, k)) {
			bad("%s is no topic", k)
		}
	}
	if text(c, "unique_id") == "" {
		bad("no unique_id")
	}
	if id := text(c, "default_entity_id"); !entityID.MatchString(id) || !strings.HasPrefix(id, platform+".") {
		bad("default_entity_id %q, expected %s.<a-z, 0-9, _>", id, platform)
	}
	needs := func(names ...string) {
		for _, k := range names {
			if text(c, k) == "" {
				bad("%s needs %s", platform, k)
			}
		}
	}
	switch platform {
	case "sensor":
		needs("state_topic")
		errs = append(errs, c.checkSensor()...)
	case "binary_sensor":
		needs("state_topic")
	case "button":
		needs("command_topic")
	case "switch":
		needs("state_topic", "command_topic")
	case "valve":
		needs("state_topic", "command_topic")
		if c["reports_position"] != false {
			bad("reports_position must be false: these valves are open or closed")
		}
	case "event":
		needs("state_topic")
		if l, ok := c["event_types"].([]any); !ok || len(l) == 0 {
			bad("an event needs its event_types")
		}
	}
	if c["retain"] == true {
		bad("commands must not be retained")
	}
	return errs
}

func (c component) checkSensor() []error {
	var errs []error
	bad := func(format string, a ...any) { errs = append(errs, fmt.Errorf(format, a...)) }
	class, unit, state := text(c, "device_class"), text(c, "unit_of_measurement"), text(c, "state_class")
	if state != "" && !slices.Contains([]string{"measurement", "total", "total_increasing"}, state) {
		bad("state_class %q does not exist", state)
	}
	if class == "" {
		return errs
	}
	allowed, known := units(class)
	switch {
	case !known:
		bad("device_class %q is not one of ours", class)
	case len(allowed) == 0 && (unit != "" || state != ""):
		bad("a %s has no unit and no state class", class)
	case len(allowed) > 0 && !slices.Contains(allowed, unit):
		bad("%s in %q, expected one of %v", class, unit, allowed)
	}
	if (class == "water" || class == "volume") && state != "total" && state != "total_increasing" {
		bad("%s is a total: state_class %q, expected total or total_increasing", class, state)
	}
	return errs
}

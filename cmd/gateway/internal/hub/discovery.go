package hub

import (
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	"fabricpot/control/garden"
	"fabricpot/mqtt"
	"fabricpot/mqtt/payload"
	"fabricpot/mqtt/topic"
)

// DefaultDiscovery is where hubs look for discovery documents unless told
// otherwise. Below it they announce their own birth on "status".
const DefaultDiscovery = "homeassistant"

// component is one entity of the document.
type component map[string]any

// Discovery returns the device-based discovery document: one retained message
// that describes everything. gone are components published in earlier times
// (key → platform) that are no more; the format wants them named once more,
// with nothing but their platform, to be taken away.
func Discovery(tree topic.Tree, prefix string, s *Snapshot, gone map[string]string) (mqtt.Message, map[string]string, error) {
	if prefix == "" {
		prefix = DefaultDiscovery
	}
	device := "fabricpot-" + s.SiteID
	if !garden.ValidID(s.SiteID) || !topic.ValidName(prefix) {
		return mqtt.Message{}, nil, fmt.Errorf("hub: site %q or discovery prefix %q is no part of a topic", s.SiteID, prefix)
	}
	e := encoder{tree: tree, device: device, all: make(map[string]component)}
	e.gateway(s)
	for i, z := range s.Zones {
		e.zone(i, z)
	}
	platforms := make(map[string]string, len(e.all))
	for key, c := range e.all {
		platforms[key] = c["platform"].(string)
	}
	for key, platform := range gone {
		if e.all[key] == nil {
			e.all[key] = component{"platform": platform}
		}
	}
	doc := map[string]any{
		"device": map[string]any{"identifiers": []string{device}, "name": s.Name, "model": "Irrigation gateway for fabric pots", "sw_version": s.Version},
		"origin": map[string]any{"name": "fabricpot", "sw_version": s.Version},
		"availability": []any{map[string]any{
			"topic": tree.Of(topic.Status, ""), "value_template": "{{ value_json.state }}", "payload_available": "online", "payload_not_available": "offline",
		}},
		"qos":        1,
		"components": e.all,
	}
	b, err := payload.Encode(doc)
	if err != nil {
		return mqtt.Message{}, nil, fmt.Errorf("hub: discovery document: %w", err)
	}
	return mqtt.Message{Topic: prefix + "/device/" + device + "/config", Payload: b, QoS: 1, Retain: true}, platforms, nil
}

// Birth is the topic on which a hub says that it has started and wants to be
// told again.
func Birth(prefix string) string {
	if prefix == "" {
		prefix = DefaultDiscovery
	}
	return prefix + "/status"
}

type encoder struct {
	tree   topic.Tree
	device string
	all    map[string]component
}

// put adds an entity. Its key is unique within the device, its ids within the
// hub.
func (e *encoder) put(platform, key, name string, rest component) {
	c := component{
		"platform": platform, "name": name, "unique_id": e.device + "-" + key,
		"default_entity_id": platform + "." + strings.ReplaceAll(e.device+"-"+key, "-", "_"),
	}
	maps.Copy(c, rest)
	e.all[key] = c
}

// ask is the template of a command to the gateway: the hub fills in identity
// and expiry when it is used. number keeps two commands of one instant apart.
func ask(number int, rest string) string {
	return `{% set t = now() %}{"id":"hub-{{ (t.timestamp() * 1000000) | int }}-` + strconv.Itoa(number) +
		`","expires":"{{ (t + timedelta(seconds=30)).isoformat() }}",` + rest + `}`
}

func (e *encoder) gateway(s *Snapshot) {
	status, do := e.tree.Of(topic.Status, ""), e.tree.Of(topic.Do, "")
	value := func(key string) string { return "{{ value_json." + key + " }}" }
	e.put("button", "close-all", "Close all lines", component{
		"command_topic": do, "payload_press": "close-all", "command_template": ask(0, `"do":"{{ value }}"`),
	})
	e.put("switch", "automatic", "Automatic control", component{
		"state_topic": status, "value_template": "{{ 'ON' if value_json.automatic else 'OFF' }}", "state_on": "ON", "state_off": "OFF",
		"command_topic": do, "payload_on": "automatic-on", "payload_off": "automatic-off", "command_template": ask(0, `"do":"{{ value }}"`),
	})
	e.put("event", "alarm", "Alarm", component{
		"state_topic": e.tree.Of(topic.Event, ""), "event_types": []string{"raised", "acknowledged", "cleared"},
		"value_template": `{{ {"event_type": value_json.event, "alarm": value_json.alarm, "text": value_json.text} | to_json }}`,
	})
	e.put("sensor", "version", "Version", component{"state_topic": status, "value_template": value("version"), "entity_category": "diagnostic"})
	if s.HasMeter {
		e.put("sensor", "supply-flow", "Supply flow", component{
			"state_topic": status, "value_template": value("supply_l_h"), "device_class": "volume_flow_rate", "unit_of_measurement": "L/h", "state_class": "measurement",
		})
	}
	if s.HasTank {
		e.put("sensor", "tank", "Tank", component{
			"state_topic": status, "value_template": value("tank_l"), "device_class": "volume_storage", "unit_of_measurement": "L", "state_class": "measurement",
		})
	}
}

func (e *encoder) zone(i int, z Zone) {
	state, do, id := e.tree.Of(topic.Zone, string(z.ID)), e.tree.Of(topic.Do, ""), "zone-"+string(z.ID)
	sensor := func(key, name, field string, rest component) {
		c := component{"state_topic": state, "value_template": "{{ value_json." + field + " }}"}
		maps.Copy(c, rest)
		e.put("sensor", id+"-"+key, z.Name+" "+name, c)
	}
	sensor("water", "water content", "water_percent", component{"device_class": "moisture", "unit_of_measurement": "%", "state_class": "measurement"})
	sensor("held", "water held", "held_l", component{"device_class": "volume_storage", "unit_of_measurement": "L", "state_class": "measurement"})
	sensor("hours", "time until refill", "hours_until_refill", component{"device_class": "duration", "unit_of_measurement": "h", "state_class": "measurement"})
	sensor("last-at", "last watering", "last_watering_at", component{"device_class": "timestamp"})
	sensor("last-litres", "last watering amount", "last_watering_l", component{"unit_of_measurement": "L"})
	sensor("total", "water total", "total_l", component{"device_class": "water", "unit_of_measurement": "L", "state_class": "total_increasing"})
	sensor("feed-due", "feed due", "feed_due_at", component{"device_class": "timestamp"})
	e.put("binary_sensor", id+"-problem", z.Name+" problem", component{
		"state_topic": state, "value_template": "{{ 'ON' if value_json.problem else 'OFF' }}", "payload_on": "ON", "payload_off": "OFF", "device_class": "problem",
		"json_attributes_topic": state, "json_attributes_template": `{{ {"reason": value_json.problem} | to_json }}`,
	})
	zone := `"zone":"` + string(z.ID) + `"`
	e.put("switch", id+"-shut", z.Name+" kept shut", component{
		"state_topic": state, "value_template": "{{ 'ON' if value_json.kept_shut else 'OFF' }}", "state_on": "ON", "state_off": "OFF", "command_topic": do,
		"payload_on": "keep-shut", "payload_off": "release",
		"command_template": ask(i+1, `"do":"{{ value }}",`+zone+`{% if value == "keep-shut" %},"minutes":`+strconv.Itoa(shutMinutes)+`{% endif %}`),
	})
	if z.Line == "" {
		return
	}
	litres := strconv.FormatFloat(z.DefaultL, 'f', -1, 64)
	e.put("valve", id+"-valve", z.Name+" line", component{
		"state_topic": e.tree.Of(topic.Line, string(z.Line)), "value_template": "{{ value_json.state if value_json.state != 'unknown' else 'None' }}",
		"state_open": "open", "state_closed": "closed", "reports_position": false, "device_class": "water", "command_topic": do,
		"payload_open": "water", "payload_close": "stop",
		"command_template": ask(i+1, `"do":"{{ value }}",`+zone+`{% if value == "water" %},"litres":`+litres+`{% endif %}`),
	})
}

// keys lists a component's keys, sorted.
func (c component) keys() []string { return slices.Sorted(maps.Keys(c)) }

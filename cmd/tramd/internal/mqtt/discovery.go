package mqtt

import (
	"strings"

	"tramd/cmd/tramd/internal/api"
)

// entity is the discovery payload of one value. The keys are those that Home Assistant documents for MQTT sensors and
// binary sensors; a key that is empty is left out.
type entity struct {
	Name         string `json:"name"`
	UniqueID     string `json:"unique_id"`
	StateTopic   string `json:"state_topic"`
	Value        string `json:"value_template"`
	Attributes   string `json:"json_attributes_topic,omitempty"`
	Availability string `json:"availability_topic"`
	Unit         string `json:"unit_of_measurement,omitempty"`
	Class        string `json:"device_class,omitempty"`
	StateClass   string `json:"state_class,omitempty"`
	Digits       int    `json:"suggested_display_precision,omitempty"`
	On           string `json:"payload_on,omitempty"`
	Off          string `json:"payload_off,omitempty"`
	Device       device `json:"device"`
	Origin       origin `json:"origin"`
}

type device struct {
	Identifiers []string `json:"identifiers"`
	Name        string   `json:"name"`
	Version     string   `json:"sw_version,omitempty"`
	Page        string   `json:"configuration_url,omitempty"`
}

type origin struct {
	Name    string `json:"name"`
	Version string `json:"sw_version,omitempty"`
}

// identifier returns name in the characters that a discovery topic may have.
func identifier(name string) string {
	return strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '_' || r == '-' {
			return r
		}
		return '_'
	}, name)
}

// Announcements returns the discovery messages for a machine with these instruments; none where discovery is off.
func (n Names) Announcements(s *api.Snapshot) []Message {
	if n.Discovery == "" {
		return nil
	}
	machine := "tramd_" + identifier(n.Machine)
	var out []Message
	announce := func(component, id string, e entity) {
		e.UniqueID = machine + "_" + id
		e.Availability = n.availability()
		e.Device = device{Identifiers: []string{machine}, Name: n.Machine, Version: n.Version, Page: n.Page}
		e.Origin = origin{Name: "tramd", Version: n.Version}
		out = append(out, message(n.Discovery+"/"+component+"/"+machine+"/"+id+"/config", e))
	}
	base := n.base()
	for _, axis := range []struct{ id, name string }{{"tilt", "Tilt"}, {"nod", "Nod"}} {
		topic := base + "/" + axis.id
		announce("sensor", axis.id, entity{Name: axis.name, StateTopic: topic, Value: "{{ value_json.mm_per_m }}",
			Attributes: topic,
			Unit:       "mm/m", StateClass: "measurement", Digits: 4})
		announce("sensor", axis.id+"_uncertainty", entity{Name: axis.name + " ±", StateTopic: topic,
			Value: "{{ value_json.U_mm_per_m }}",
			Unit:  "mm/m", StateClass: "measurement", Digits: 4})
	}
	check := base + "/check"
	announce("sensor", "verdict", entity{Name: "Verdict", StateTopic: check, Value: "{{ value_json.verdict }}"})
	announce("sensor", "last_check", entity{Name: "Last check", StateTopic: check, Value: "{{ value_json.last }}",
		Class: "timestamp"})
	announce("sensor", "next_check", entity{Name: "Next check", StateTopic: check, Value: "{{ value_json.next }}",
		Class: "timestamp"})
	announce("binary_sensor", "alarm", entity{Name: "Alarm", StateTopic: base + "/alarm", Value: "{{ value_json.on }}",
		Attributes: base + "/alarm", Class: "problem", On: "True", Off: "False"})
	for _, d := range s.Devices {
		announce("binary_sensor", "device_"+identifier(d.Name),
			entity{Name: d.Name, StateTopic: base + "/device/" + level(d.Name),
				Value: "{{ value_json.on }}", Class: "connectivity", On: "True", Off: "False"})
	}
	return out
}

package mqtt

import (
	"encoding/json"
	"slices"
	"strings"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/sweep"
)

// Message is one retained message.
type Message struct {
	Topic   string
	Payload []byte
}

// Names say where the topics stand.
type Names struct {
	Prefix    string // first level of the state topics
	Discovery string // first level of the discovery topics; empty: none are sent
	Machine   string
	Version   string
	Page      string // address of the machine's page; empty: not sent
}

// level returns name as one level of a topic: without the separator and the wildcards (MQTT 5.0, 4.7), and without
// control characters.
func level(name string) string {
	return strings.Map(func(r rune) rune {
		if r == '/' || r == '+' || r == '#' || r == '$' || r < ' ' || r == 0xFFFD || r == 0x7f {
			return '_'
		}
		return r
	}, strings.ToValidUTF8(name, "_"))
}

func (n Names) base() string { return n.Prefix + "/" + level(n.Machine) }

func (n Names) availability() string { return n.base() + "/availability" }

func message(topic string, v any) Message {
	text, _ := json.Marshal(v) // structs of strings, numbers that are finite, and times always marshal
	return Message{topic, text}
}

type axisState struct {
	Slope    float64 `json:"mm_per_m"`
	Expanded float64 `json:"U_mm_per_m"`
	Verdict  string  `json:"verdict"`
}

type checkState struct {
	Verdict string     `json:"verdict"`
	Last    *time.Time `json:"last"`
	Next    *time.Time `json:"next"`
	Why     string     `json:"why"`
}

type alarmState struct {
	On    bool     `json:"on"`
	Kinds []string `json:"kinds"`
	Text  string   `json:"text"`
}

type deviceState struct {
	On    bool   `json:"on"`
	State string `json:"state"`
}

// States returns the messages that say how the machine stands.
func (n Names) States(s *api.Snapshot) []Message {
	base := n.base()
	check := checkState{Next: utc(s.NextCheck), Why: s.NextWhy}
	var out []Message
	if s.Last != nil {
		check.Verdict, check.Last = string(s.Last.Result.Verdict), utc(&s.Last.At)
		for _, x := range []struct {
			name string
			axis *sweep.Axis
		}{{"tilt", s.Last.Result.Tilt}, {"nod", s.Last.Result.Nod}} {
			if x.axis != nil {
				out = append(out, message(base+"/"+x.name, axisState{x.axis.Slope.MMPerM(), x.axis.Expanded.MMPerM(),
					string(x.axis.Verdict)}))
			}
		}
	}
	out = append(out, message(base+"/check", check), message(base+"/alarm", alarms(s)))
	for _, d := range s.Devices {
		state := d.Talk
		if state == "" {
			state = d.State
		}
		out = append(out, message(base+"/device/"+level(d.Name), deviceState{d.Talk == "talking" ||
			d.Talk == "not_expected", state}))
	}
	return out
}

func alarms(s *api.Snapshot) alarmState {
	a := alarmState{Kinds: []string{}}
	if s.Drift == nil {
		return a
	}
	var texts []string
	for _, x := range s.Drift.Alarms {
		a.On = true
		if !slices.Contains(a.Kinds, x.Kind) {
			a.Kinds = append(a.Kinds, x.Kind)
		}
		texts = append(texts, x.Text)
	}
	a.Text = strings.Join(texts, " ")
	return a
}

// utc returns the moment in UTC to the second, as a program reads it.
func utc(t *time.Time) *time.Time {
	if t == nil || t.IsZero() {
		return nil
	}
	u := t.UTC().Truncate(time.Second)
	return &u
}

package drift

import (
	"fmt"
	"time"
)

// AlarmKind is what an alarm says.
type AlarmKind string

// Kinds of alarm, from the least to the most severe.
const (
	None    AlarmKind = "none"
	Trend   AlarmKind = "trend"   // it is moving
	Shift   AlarmKind = "shift"   // something moved
	Outside AlarmKind = "outside" // the lean lies outside the tolerance
)

// AlarmKinds are the kinds that can be raised, from the least to the most severe.
func AlarmKinds() []AlarmKind { return []AlarmKind{Trend, Shift, Outside} }

func (k AlarmKind) severity() int {
	switch k {
	case Trend:
		return 1
	case Shift:
		return 2
	case Outside:
		return 3
	}
	return 0
}

// Alarm is one reason to look at the machine.
type Alarm struct {
	Kind  AlarmKind `json:"kind"`
	Axis  string    `json:"axis"`
	Since time.Time `json:"since"` // the first check it touched; of outside: the check that said so
	// SizeMMPerM is by how much the axis moved (shift), has come since it began to move (trend), or lies beyond the
	// limit.
	SizeMMPerM float64 `json:"size_mm_per_m"`
	Rate       float64 `json:"rate_mm_per_m_per_day,omitempty"` // of a trend
	Length     bool    `json:"-"`                               // it is no lean but a length: mm stands for mm/m
}

// Text says it to a person.
func (a Alarm) Text() string {
	day := a.Since.UTC().Format("2006-01-02 15:04 UTC")
	switch {
	case a.Length && a.Kind == Shift:
		return fmt.Sprintf("%s moved by %+.4f mm at or just before %s", a.Axis, a.SizeMMPerM, day)
	case a.Length && a.Kind == Trend:
		return fmt.Sprintf("%s is moving by %+.5f mm per day since about %s, %+.4f mm so far", a.Axis, a.Rate, day,
			a.SizeMMPerM)
	case a.Length && a.Kind == Outside:
		return fmt.Sprintf("%s is outside its tolerance since %s, by %.4f mm", a.Axis, day, a.SizeMMPerM)
	case a.Kind == Shift:
		return fmt.Sprintf("%s moved by %+.4f mm/m at or just before %s", a.Axis, a.SizeMMPerM, day)
	case a.Kind == Trend:
		return fmt.Sprintf("%s is moving by %+.5f mm/m per day since about %s, %+.4f mm/m so far", a.Axis, a.Rate, day,
			a.SizeMMPerM)
	case a.Kind == Outside:
		return fmt.Sprintf("%s is outside its tolerance since %s, by %.4f mm/m", a.Axis, day, a.SizeMMPerM)
	}
	return "no alarm"
}

func (a *axis) alarms() []Alarm {
	var out []Alarm
	if a.outside != nil {
		out = append(out, *a.outside)
	}
	if m := a.moved; m != nil {
		al := Alarm{Kind: Shift, Axis: a.name, Since: m.since, SizeMMPerM: m.size}
		if m.ramp {
			al.Kind, al.Rate = Trend, m.rate
		}
		out = append(out, al)
	}
	return out
}

// worst is the most severe kind among alarms.
func worst(alarms []Alarm) AlarmKind {
	out := None
	for _, a := range alarms {
		if a.Kind.severity() > out.severity() {
			out = a.Kind
		}
	}
	return out
}

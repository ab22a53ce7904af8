package runs

import (
	"tramd/cmd/tramd/internal/api"
	"tramd/sweep/drift"
)

// Reliability is the chance that the machine is still within its tolerance at the next check.
const Reliability = 0.95

// DriftState returns what the metrics and the alarms say of a tracker's drift.
func DriftState(t *drift.Tracker) *api.DriftState {
	state := &api.DriftState{Alarms: []api.Alarm{}}
	for i, x := range t.Now() {
		if x == nil || t.Checks() < 3 {
			continue
		}
		rate := x.Rate
		if i == 0 {
			state.TiltRate = &rate
		} else {
			state.NodRate = &rate
		}
	}
	for _, al := range t.Alarms() {
		state.Alarms = append(state.Alarms, AlarmState(al))
	}
	return state
}

// AlarmState returns an alarm as the metrics, the page and the alarms show it.
func AlarmState(a drift.Alarm) api.Alarm {
	return api.Alarm{Kind: string(a.Kind), Axis: a.Axis, Since: a.Since, Size: a.SizeMMPerM, Text: a.Text()}
}

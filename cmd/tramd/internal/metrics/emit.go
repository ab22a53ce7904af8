package metrics

import (
	"math"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"tramd/cmd/tramd/internal/api"
	"tramd/sweep"
	"tramd/sweep/drift"
)

// outcomes of a sweep are exported from the start, as zeros: the first failure is an increase and not a new series.
var outcomes = []string{"finished", "abandoned", "failed", "interrupted"}

// emitter writes the metrics of one snapshot.
type emitter struct {
	ch      chan<- prometheus.Metric
	machine string
}

func (e emitter) gauge(d *prometheus.Desc, v float64, labels ...string) {
	e.emit(d, prometheus.GaugeValue, v, labels)
}

func (e emitter) counter(d *prometheus.Desc, v uint64, labels ...string) {
	e.emit(d, prometheus.CounterValue, float64(v), labels)
}

// emit leaves out what is not a number: a series that is absent says "not known", NaN says nothing a rule can use.
func (e emitter) emit(d *prometheus.Desc, t prometheus.ValueType, v float64, labels []string) {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return
	}
	values := make([]string, 0, 1+len(labels))
	values = append(values, e.machine)
	for _, l := range labels {
		values = append(values, text(l))
	}
	m, err := prometheus.NewConstMetric(d, t, v, values...)
	if err != nil {
		m = prometheus.NewInvalidMetric(d, err)
	}
	e.ch <- m
}

func (e emitter) result(s *api.Snapshot) {
	if s.Limit > 0 {
		e.gauge(limitDesc, s.Limit*1e-3, "tilt")
		e.gauge(limitDesc, s.Limit*1e-3, "nod")
	}
	if s.NextCheck != nil {
		e.gauge(nextCheckDesc, seconds(*s.NextCheck))
	}
	if s.Last == nil {
		return
	}
	e.gauge(lastCheckDesc, seconds(s.Last.At))
	e.axis("tilt", s.Last.Result.Tilt)
	e.axis("nod", s.Last.Result.Nod)
}

func (e emitter) axis(name string, a *sweep.Axis) {
	if a == nil { // not measured
		return
	}
	e.gauge(leanDesc, float64(a.Slope), name)
	e.gauge(expandedDesc, float64(a.Expanded), name)
}

const secondsPerDay = 86400

// drift tells of every kind of alarm as soon as anything is known, as 0, so that the first one is seen to rise.
func (e emitter) drift(d *api.DriftState, last *api.LastRun) {
	if d == nil {
		return
	}
	if d.TiltRate != nil {
		e.gauge(driftDesc, *d.TiltRate*1e-3/secondsPerDay, "tilt")
	}
	if d.NodRate != nil {
		e.gauge(driftDesc, *d.NodRate*1e-3/secondsPerDay, "nod")
	}
	for kind, at := range d.Events {
		e.gauge(eventDesc, seconds(at), kind)
	}
	for _, kind := range api.AlarmKinds {
		for _, axis := range drift.Axes {
			since, stands := oldest(d.Alarms, kind, axis)
			e.gauge(alarmDesc, number(stands), kind, axis)
			if stands && kind == "outside" {
				// the rules compare it with the end of the last check
				since, _ = last.Found(api.Alarm{Since: since})
			}
			if stands {
				e.gauge(alarmSinceDesc, seconds(since), kind, axis)
			}
		}
	}
}

// oldest returns the beginning of the alarm of that kind on an axis that has stood longest.
func oldest(alarms []api.Alarm, kind, axis string) (since time.Time, stands bool) {
	for _, a := range alarms {
		if a.Kind == kind && (a.Axis == axis || a.Axis == "both") && (!stands || a.Since.Before(since)) {
			since, stands = a.Since, true
		}
	}
	return since, stands
}

// computer emits the state of the computer. Room that cannot be read is left out.
func (e emitter) computer(s *api.Snapshot, free func() (uint64, error)) {
	e.gauge(clockDesc, number(s.Clock.Set))
	e.gauge(storeDesc, number(s.Store.OK))
	for _, kind := range api.TroubleKinds {
		e.gauge(troubleDesc, number(s.Troubles[kind] != ""), kind)
	}
	if free == nil {
		return
	}
	if bytes, err := free(); err == nil {
		e.gauge(freeDesc, float64(bytes))
	}
}

func (e emitter) runs(counts map[api.RunKey]uint64) {
	for _, o := range outcomes {
		if _, ok := counts[api.RunKey{Kind: "sweep", Outcome: o}]; !ok {
			e.counter(runsDesc, 0, "sweep", o)
		}
	}
	for k, n := range counts {
		e.counter(runsDesc, n, k.Kind, k.Outcome)
	}
}

func (e emitter) device(d *api.DeviceState) {
	up := number(d.State == "live")
	e.gauge(upDesc, up, d.Name)
	e.counter(readingsDesc, d.Readings, d.Name)
	for reason, n := range d.Faults {
		e.counter(faultsDesc, n, d.Name, reason)
	}
	if up == 1 && d.Role == "indicator" && d.ReadingMM != nil {
		e.gauge(indicatorDesc, *d.ReadingMM*1e-3, d.Name)
	}
}

// machineSays is what the machine tells of itself.
func (e emitter) machineSays(s *api.Snapshot) {
	for _, in := range s.Inputs {
		known := in.State == "on" || in.State == "off"
		e.gauge(inputKnownDesc, number(known), in.Name)
		if known {
			e.gauge(inputDesc, number(in.State == "on"), in.Name)
		}
	}
	if h := s.Hours; h != nil && h.Hours != nil {
		e.emit(hoursDesc, prometheus.CounterValue, *h.Hours*3600, nil)
	}
}

func number(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

func seconds(t time.Time) float64 { return float64(t.UnixMicro()) / 1e6 }

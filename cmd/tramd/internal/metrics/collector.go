package metrics

import (
	"context"
	"fmt"
	"runtime"
	"strings"
	"time"

	"tramd/cmd/tramd/internal/api"

	"github.com/prometheus/client_golang/prometheus"
)

// Live is where the present state comes from.
type Live interface {
	Snapshot(ctx context.Context) (*api.Snapshot, error)
}

// patience is how long a scrape waits for the snapshot; scrapers commonly give up after 10 s.
const patience = 2 * time.Second

// Options are what the metrics are made from.
type Options struct {
	Live    Live
	Version string
	Page    string // address of the machine's page; empty: not exported
	// Assembly reads the record's relations, traverses and bars; nil: not exported.
	Assembly func(context.Context) Assembly
	Free     func() (bytes uint64, err error) // room left where the record is kept; nil: not exported
}

// Collector makes constant metrics from one snapshot a scrape.
type Collector struct{ o Options }

// NewCollector makes the collector of one machine.
func NewCollector(o Options) *Collector { return &Collector{o: o} }

// named is what each Desc was made of, since a Desc keeps it to itself.
var named = map[*prometheus.Desc]struct{ name, help string }{}

func desc(name, help string, labels ...string) *prometheus.Desc {
	d := prometheus.NewDesc(name, help, append([]string{"machine"}, labels...), nil)
	named[d] = struct{ name, help string }{name, help}
	return d
}

var (
	leanDesc = desc("tramd_lean_radians",
		"Lean of the spindle in the last stored sweep; positive when the upper end leans to the operator's right (tilt) or to the back (nod).", "axis")
	expandedDesc = desc("tramd_lean_expanded_uncertainty_radians",
		"Half width of the interval about tramd_lean_radians that covers the truth in 95 % of cases.", "axis")
	limitDesc = desc("tramd_lean_limit_radians",
		"Largest lean the tolerance allows on the axis, either way.", "axis")
	lastCheckDesc = desc("tramd_last_check_timestamp_seconds",
		"When the sweep that tramd_lean_radians speaks of was taken, in seconds since 1970.")
	nextCheckDesc = desc("tramd_next_check_timestamp_seconds",
		"When the next check is due, in seconds since 1970.")
	driftDesc = desc("tramd_lean_drift_radians_per_second",
		"How fast the lean changes, from the stored checks. Absent where there is too little to say.", "axis")
	alarmDesc = desc("tramd_alarm",
		"1 while the alarm stands: shift (something moved), trend (it is moving), outside (past the tolerance).",
		"kind", "axis")
	eventDesc = desc("tramd_last_event_timestamp_seconds",
		"When something of this kind last happened to the machine, in seconds since 1970.", "kind")
	alarmSinceDesc = desc("tramd_alarm_since_timestamp_seconds",
		"When the standing alarm began, in seconds since 1970.", "kind", "axis")
	pageDesc = desc("tramd_page_info",
		"Always 1; the label says where people find the machine's page.", "url")
	runsDesc = desc("tramd_runs_total",
		"Runs ended since the database was made.", "kind", "outcome")
	indicatorDesc = desc("tramd_indicator_metres",
		"Present reading of the indicator; larger means the plunger is pushed further in. Absent while there is no fresh reading.", "indicator")
	readingsDesc = desc("tramd_readings_total",
		"Good frames read from the device since the program started.", "device")
	faultsDesc = desc("tramd_frame_errors_total",
		"Frames of the device that could not be read, since the program started.", "device", "reason")
	upDesc = desc("tramd_device_up",
		"1 when the device is sending readings, 0 when not.", "device")
	inputDesc = desc("tramd_input_on",
		"1 while the machine's input line is on, 0 while it is off. Absent while that is not known.", "input")
	inputKnownDesc = desc("tramd_input_known",
		"1 while it is known whether the machine's input line is on or off, 0 while it is not.", "input")
	hoursDesc = desc("tramd_spindle_run_seconds_total",
		"How long the spindle has run, by its counter or a running signal. A typed correction may set it back.")
	clockDesc = desc("tramd_clock_set",
		"1 when the computer's clock has been set since it started, 0 when what is measured now cannot be dated.")
	storeDesc = desc("tramd_store_ok",
		"1 when what is measured is being written, 0 when it waits in memory.")
	troubleDesc = desc("tramd_trouble",
		"1 while a chore of the daemon needs a person: the record is damaged, a backup failed, a scheduled check was missed or stopped; 0 when not.", "kind")
	freeDesc = desc("tramd_store_free_bytes",
		"Room left for the record on its file system.")
	buildDesc = desc("tramd_build_info",
		"Always 1; the labels say which program this is.", "version", "goversion")

	all = []*prometheus.Desc{
		leanDesc, expandedDesc, limitDesc, lastCheckDesc, nextCheckDesc, driftDesc, alarmDesc, alarmSinceDesc,
		eventDesc, pageDesc,
		runsDesc, indicatorDesc, readingsDesc, faultsDesc, upDesc, inputDesc, inputKnownDesc, hoursDesc,
		clockDesc, storeDesc, troubleDesc, freeDesc, buildDesc,
	}
)

// Describe implements prometheus.Collector.
func (c *Collector) Describe(ch chan<- *prometheus.Desc) {
	for _, d := range all {
		ch <- d
	}
}

// Collect implements prometheus.Collector.
func (c *Collector) Collect(ch chan<- prometheus.Metric) {
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	s, err := c.o.Live.Snapshot(ctx)
	if err == nil && s == nil {
		err = fmt.Errorf("no state yet")
	}
	if err != nil {
		ch <- prometheus.NewInvalidMetric(buildDesc, fmt.Errorf("read the present state: %w", err))
		return
	}
	e := emitter{ch: ch, machine: text(s.Machine)}
	e.gauge(buildDesc, 1, c.o.Version, runtime.Version())
	if c.o.Page != "" {
		e.gauge(pageDesc, 1, c.o.Page)
	}
	e.result(s)
	e.drift(s.Drift, s.Last)
	e.computer(s, c.o.Free)
	e.runs(s.Runs)
	e.machineSays(s)
	e.assembly(ctx, c.o.Assembly)
	for i := range s.Devices {
		e.device(&s.Devices[i])
	}
}

// text makes a label value that cannot be refused: names come from a config and reasons from device code, and a stray
// byte must not cost the whole scrape.
func text(s string) string { return strings.ToValidUTF8(s, "\uFFFD") }

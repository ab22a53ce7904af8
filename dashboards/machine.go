package main

import "github.com/grafana/grafana-foundation-sdk/go/dashboard"

// machine is one machine's history: where its spindle leans, how fast that changes, and whether it is being looked
// after.
func machine() *dashboard.DashboardBuilder {
	b := board("A machine's spindle", "tramd-machine",
		"Lean of one spindle against its tolerance, its drift and its checks, as tramd measured them.").
		Annotation(dashboard.NewAnnotationQueryBuilder().Name("alarms begin").Datasource(source()).Enable(
			true).IconColor("red").
			Expr(`tramd_alarm_since_timestamp_seconds{machine=~"$machine"} * 1e3`).UseValueForTime(true).
			TitleFormat("{{machine}}: {{kind}}").TextFormat("{{axis}}")).
		Annotation(dashboard.NewAnnotationQueryBuilder().Name("events").Datasource(source()).Enable(
			true).IconColor("blue").
			Expr(`tramd_last_event_timestamp_seconds{machine=~"$machine"} * 1e3`).UseValueForTime(true).
			TitleFormat("{{machine}}: {{kind}}").TextFormat("{{kind}}"))
	b = chosen(b)
	for _, p := range []panel{
		{title: "Tilt", help: "Left-right. Positive: the upper end leans to the operator's right.",
			queries: []query{{`tramd_lean_radians{machine=~"$machine",axis="tilt"} * 1e3`, "{{machine}} tilt"}}},
		{title: "Nod", help: "Front-back. Positive: the upper end leans to the back.",
			queries: []query{{`tramd_lean_radians{machine=~"$machine",axis="nod"} * 1e3`, "{{machine}} nod"}}},
	} {
		p.unit, p.decimals, p.wide, p.high = mmPerM, 3, 5, 4
		b = b.WithPanel(p.number())
	}
	b = b.WithPanel(panel{title: "Tolerance used",
		help: "The worse axis, its uncertainty counted against it; 100 % is the limit.",
		unit: share, wide: 5, high: 4, steps: upTo(0.8, 1),
		queries: []query{{`machine:tramd_limit_used:max{machine=~"$machine"}`, "{{machine}}"}}}.number())
	b = b.WithPanel(panel{title: "Last check", unit: ago, wide: 5, high: 4,
		queries: []query{{`tramd_last_check_timestamp_seconds{machine=~"$machine"} * 1e3`, "{{machine}}"}}}.number())
	b = b.WithPanel(panel{title: "Next check",
		help: "By then the chance of being outside reaches what the reliability asked for allows.", unit: ago,
		wide: 4, high: 4,
		queries: []query{{`tramd_next_check_timestamp_seconds{machine=~"$machine"} * 1e3`, "{{machine}}"}}}.number())
	for _, axis := range []string{"tilt", "nod"} {
		sel := `{machine=~"$machine",axis="` + axis + `"}`
		b = b.WithPanel(panel{title: "$machine: history of the " + axis, unit: mmPerM, decimals: 3, wide: 12, high: 9,
			help: "Each check with the interval that holds the truth in 95 of 100 cases, and the limits.",
			queries: []query{
				{`tramd_lean_radians` + sel + ` * 1e3`, axis},
				{`(tramd_lean_radians` + sel + ` + tramd_lean_expanded_uncertainty_radians` + sel + `) * 1e3`,
					"upper end"},
				{`(tramd_lean_radians` + sel + ` - tramd_lean_expanded_uncertainty_radians` + sel + `) * 1e3`,
					"lower end"},
				{`tramd_lean_limit_radians` + sel + ` * 1e3`, "limit"},
				{`-tramd_lean_limit_radians` + sel + ` * 1e3`, "limit, other way"},
			}}.band())
	}
	b = b.WithPanel(panel{title: "Drift",
		help: "How fast the lean changes, from the true times of the checks. Absent while there is too little to say.",
		unit: "suffix: mm/m per month", decimals: 5, wide: 12, high: 7,
		queries: []query{{`tramd_lean_drift_radians_per_second{machine=~"$machine"} * 1e3 * 30 * 86400`,
			"{{machine}} {{axis}}"}}}.line())
	b = b.WithPanel(panel{title: "Alarms", help: "When something moved, was moving, was outside.", unit: plain,
		wide: 12, high: 7, steps: upTo(0.5, 1),
		queries: []query{{`tramd_alarm{machine=~"$machine"}`, "{{machine}} {{axis}}, {{kind}}"}}}.states(
		"quiet", "stands"))
	b = b.WithPanel(panel{title: "Relations",
		help: "How the bodies of the machine lean against each other, from the newest check of each.", unit: mmPerM,
		decimals: 3, wide: 12, high: 7,
		queries: []query{{`tramd_relation_radians{machine=~"$machine"} * 1e3`,
			"{{machine}} {{relation}}, {{axis}}"}}}.line())
	b = b.WithPanel(panel{title: "Rails and plates", help: "The slope of each traverse, from its newest check.",
		unit: mmPerM, decimals: 3, wide: 12, high: 7,
		queries: []query{{`tramd_traverse_slope_radians{machine=~"$machine"} * 1e3`, "{{machine}} {{name}}"}}}.line())
	b = b.WithPanel(panel{title: "Run-out", help: "Of each bar, at the height where it runs out most.",
		unit: micrometres, decimals: 1, wide: 12, high: 7,
		queries: []query{{`tramd_run_out_metres{machine=~"$machine"} * 1e6`, "{{machine}} {{name}}"}}}.line())
	b = b.WithPanel(panel{title: "Alarms of the assembly", help: "When something moved, was moving, was outside.",
		unit: plain, wide: 12, high: 7, steps: upTo(0.5, 1),
		queries: []query{{`tramd_assembly_alarm{machine=~"$machine"}`,
			"{{machine}} {{measurement}} {{name}}, {{kind}}"}}}.states("quiet", "stands"))
	b = b.WithPanel(panel{title: "Runs", help: "Sweeps ended in the window, by how they ended.", unit: plain,
		wide: 8, high: 7,
		queries: []query{
			{`sum by (machine, outcome) (increase(tramd_runs_total{machine=~"$machine"}[$__rate_interval]))`,
				"{{machine}} {{outcome}}"}}}.line())
	b = b.WithPanel(panel{title: "Indicators now", unit: micrometres, decimals: 1, wide: 8, high: 7,
		queries: []query{{`tramd_indicator_metres{machine=~"$machine"} * 1e6`, "{{machine}} {{indicator}}"}}}.line())
	b = b.WithPanel(panel{title: "Readings", unit: perSecond, decimals: 1, wide: 8, high: 7,
		queries: []query{
			{`rate(tramd_readings_total{machine=~"$machine"}[$__rate_interval])`, "{{machine}} {{device}}"},
			{`rate(tramd_frame_errors_total{machine=~"$machine"}[$__rate_interval])`,
				"{{machine}} {{device}}, bad: {{reason}}"},
		}}.line())
	return b
}

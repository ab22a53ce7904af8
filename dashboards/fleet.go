package main

import "github.com/grafana/grafana-foundation-sdk/go/dashboard"

// fleet is every machine at a glance: which are outside, which are due, which computers are silent.
func fleet() *dashboard.DashboardBuilder {
	b := board("All spindles", "tramd-fleet", "Every machine that tramd looks after: the worst first.").
		Link(dashboard.NewDashboardLinkBuilder("A machine's spindle").Type(dashboard.DashboardLinkTypeLink).Url("/d/tramd-machine").KeepTime(true))
	for _, p := range []panel{
		{title: "Machines", unit: plain, queries: []query{{`count(tramd_build_info)`, "machines"}}},
		{title: "Outside", unit: plain, steps: upTo(1, 2), queries: []query{{`sum(tramd_alarm{kind="outside"}) or vector(0)`, "outside"}}},
		{title: "Moved or moving", unit: plain, steps: upTo(1, 3), queries: []query{{`sum(tramd_alarm{kind=~"shift|trend"}) or vector(0)`, "moved"}}},
		{title: "Due for a check", unit: plain, steps: upTo(1, 5), queries: []query{{`count(tramd_next_check_timestamp_seconds < time()) or vector(0)`, "due"}}},
		{title: "Devices silent", unit: plain, steps: upTo(1, 5), queries: []query{{`count(tramd_device_up == 0) or vector(0)`, "silent"}}},
		{title: "No answer", help: "Daemons that Prometheus cannot reach.", unit: plain, steps: upTo(1, 2), queries: []query{{`count(up{job="tramd"} == 0) or vector(0)`, "gone"}}},
	} {
		p.wide, p.high = 4, 4
		b = b.WithPanel(p.number())
	}
	b = b.WithPanel(panel{title: "Tolerance used, the twenty worst", help: "100 % is the limit, the uncertainty counted against the machine.",
		unit: share, wide: 12, high: 12, steps: upTo(0.8, 1),
		queries: []query{{`topk(20, machine:tramd_limit_used:max)`, "{{machine}}"}}}.rows())
	b = b.WithPanel(panel{title: "Checks that come first", help: "The twenty machines whose next check is nearest or longest overdue.", unit: ago, wide: 12, high: 12,
		queries: []query{{`bottomk(20, tramd_next_check_timestamp_seconds) * 1e3`, "{{machine}}"}}}.rows())
	b = b.WithPanel(panel{title: "Tolerance used over time, the five worst now", unit: share, wide: 24, high: 9, steps: upTo(0.8, 1),
		queries: []query{{`machine:tramd_limit_used:max and topk(5, machine:tramd_limit_used:max @ end())`, "{{machine}}"}}}.line())
	b = b.WithPanel(panel{title: "Room left for the records", unit: bytes, wide: 12, high: 7,
		queries: []query{{`bottomk(10, tramd_store_free_bytes)`, "{{machine}}"}}}.line())
	b = b.WithPanel(panel{title: "Computers whose clock nobody set, or that cannot write", unit: plain, wide: 12, high: 7, steps: upTo(0.5, 1),
		queries: []query{
			{`tramd_clock_set == 0`, "{{machine}}: clock"},
			{`tramd_store_ok == 0`, "{{machine}}: cannot write"},
		}}.line())
	return b
}

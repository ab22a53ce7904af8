package main

import (
	"github.com/grafana/grafana-foundation-sdk/go/cog"
	"github.com/grafana/grafana-foundation-sdk/go/common"
	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
)

// fleet is every machine at a glance: which are outside, which are due, which computers are silent.
func fleet() *dashboard.DashboardBuilder {
	b := board("All spindles", "tramd-fleet", "Every machine that tramd looks after: the worst first.").
		Link(dashboard.NewDashboardLinkBuilder("A machine's spindle").Type(dashboard.DashboardLinkTypeLink).Url(
			"/d/tramd-machine").KeepTime(true).IncludeVars(true))
	b = chosen(b)
	for _, p := range []panel{
		{title: "Machines", unit: plain, queries: []query{{`count(tramd_build_info)`, "machines"}}},
		{title: "Outside", unit: plain, steps: upTo(1, 2),
			queries: []query{{`sum(tramd_alarm{kind="outside"}) or vector(0)`, "outside"}}},
		{title: "Moved or moving", unit: plain, steps: upTo(1, 3),
			queries: []query{{`sum(tramd_alarm{kind=~"shift|trend"}) or vector(0)`, "moved"}}},
		{title: "Due for a check", unit: plain, steps: upTo(1, 5),
			queries: []query{{`count(tramd_next_check_timestamp_seconds < time()) or vector(0)`, "due"}}},
		{title: "Devices silent", unit: plain, steps: upTo(1, 5),
			queries: []query{{`count(tramd_device_up == 0) or vector(0)`, "silent"}}},
		{title: "No answer", help: "Daemons that Prometheus cannot reach.", unit: plain, steps: upTo(1, 2),
			queries: []query{{`count(up{job="tramd"} == 0) or vector(0)`, "gone"}}},
	} {
		p.wide, p.high = 4, 4
		b = b.WithPanel(p.number())
	}
	b = b.WithPanel(panel{title: "All machines",
		help: "One a row, the worst first. A machine's name leads to its own board, its page to the machine itself.",
		unit: plain, wide: 24, high: 14,
		queries: []query{
			{`max by (machine) (machine:tramd_limit_used:max{machine=~"$machine"})`, ""},
			{`max by (machine) (tramd_alarm{kind="outside",machine=~"$machine"})`, ""},
			{`max by (machine) (tramd_last_check_timestamp_seconds{machine=~"$machine"}) * 1e3`, ""},
			{`max by (machine) (tramd_next_check_timestamp_seconds{machine=~"$machine"}) * 1e3`, ""},
			{`sum by (machine) (tramd_device_up{machine=~"$machine"} == bool 0)`, ""},
			{`max by (machine, version) (tramd_build_info{machine=~"$machine"})`, ""},
			{`max by (machine, url) (tramd_page_info{machine=~"$machine"})`, ""},
		}}.machines([]string{"machine", "Value #B", "Value #A", "Value #C", "Value #D", "Value #E", "version", "url"},
		map[string]string{"Value #A": "tolerance used", "Value #B": "verdict", "Value #C": "last check",
			"Value #D": "next check",
			"Value #E": "devices silent", "url": "page"}).
		OverrideByName("machine", look(
			"links", []any{map[string]any{"title": "its board",
				"url": "/d/tramd-machine?var-machine=${__value.text}&${__url_time_range}"}})).
		OverrideByName("tolerance used", look("unit", share, "decimals", 0, "custom.cellOptions",
			map[string]any{"type": "color-text"},
			"thresholds", map[string]any{"mode": "absolute", "steps": upTo(0.8, 1)})).
		OverrideByName("verdict", look("mappings", words("within or not known", "outside"), "custom.cellOptions",
			map[string]any{"type": "color-text"})).
		OverrideByName("last check", look("unit", ago)).
		OverrideByName("next check", look("unit", ago)).
		OverrideByName("devices silent", look("custom.cellOptions", map[string]any{"type": "color-text"},
			"thresholds", map[string]any{"mode": "absolute", "steps": upTo(1, 2)})).
		OverrideByName("page", look(
			"links", []any{map[string]any{"title": "the machine's page", "url": "${__value.text}",
				"targetBlank": true}})).
		SortBy([]cog.Builder[common.TableSortByFieldState]{common.NewTableSortByFieldStateBuilder().DisplayName(
			"tolerance used").Desc(true)}))
	b = b.WithPanel(panel{title: "Tolerance used, the twenty worst",
		help: "100 % is the limit, the uncertainty counted against the machine.",
		unit: share, wide: 12, high: 12, steps: upTo(0.8, 1),
		queries: []query{{`topk(20, machine:tramd_limit_used:max)`, "{{machine}}"}}}.rows())
	b = b.WithPanel(panel{title: "Checks that come first",
		help: "The twenty machines whose next check is nearest or longest overdue.", unit: ago, wide: 12, high: 12,
		queries: []query{{`bottomk(20, tramd_next_check_timestamp_seconds) * 1e3`, "{{machine}}"}}}.rows())
	b = b.WithPanel(panel{title: "Tolerance used over time, the five worst now", unit: share, wide: 24, high: 9,
		steps: upTo(0.8, 1),
		queries: []query{{`machine:tramd_limit_used:max and topk(5, machine:tramd_limit_used:max @ end())`,
			"{{machine}}"}}}.line())
	b = b.WithPanel(panel{title: "Room left for the records", unit: bytes, wide: 12, high: 7,
		queries: []query{{`bottomk(10, tramd_store_free_bytes)`, "{{machine}}"}}}.line())
	b = b.WithPanel(panel{title: "Computers whose clock was never set, or that cannot write", unit: plain, wide: 12,
		high: 7, steps: upTo(0.5, 1),
		queries: []query{
			{`tramd_clock_set == bool 0 > 0`, "{{machine}}: clock"},
			{`tramd_store_ok == bool 0 > 0`, "{{machine}}: cannot write"},
		}}.line())
	return b
}

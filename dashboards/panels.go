package main

import (
	"github.com/grafana/grafana-foundation-sdk/go/cog"
	"github.com/grafana/grafana-foundation-sdk/go/cog/variants"
	"github.com/grafana/grafana-foundation-sdk/go/common"
	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
	"github.com/grafana/grafana-foundation-sdk/go/prometheus"
	"github.com/grafana/grafana-foundation-sdk/go/stat"
	"github.com/grafana/grafana-foundation-sdk/go/statetimeline"
	"github.com/grafana/grafana-foundation-sdk/go/table"
	"github.com/grafana/grafana-foundation-sdk/go/timeseries"
)

// Units as Grafana spells them. A slope has none of its own there: 1 mrad is 1 mm/m.
const (
	mmPerM      = "suffix: mm/m"
	micrometres = "suffix: µm"
	ago         = "dateTimeFromNow" // takes milliseconds since 1970
	perSecond   = "cps"
	share       = "percentunit"
	bytes       = "bytes"
	plain       = "none"
)

// query is one line of a panel.
type query struct{ expr, legend string }

// panel says what is drawn, before it is said to the library.
type panel struct {
	title, help string
	unit        string
	decimals    float64
	wide, high  uint32 // of 24 columns; in rows of the grid
	steps       []dashboard.Threshold
	queries     []query
}

func source() common.DataSourceRef {
	kind, uid := "prometheus", "${datasource}"
	return common.DataSourceRef{Type: &kind, Uid: &uid}
}

func (p panel) targets(instant bool) []cog.Builder[variants.Dataquery] {
	var out []cog.Builder[variants.Dataquery]
	for i, q := range p.queries {
		b := prometheus.NewDataqueryBuilder().Expr(q.expr).LegendFormat(q.legend).RefId(
			string(rune('A' + i))).Datasource(source())
		if instant {
			b = b.Instant()
		} else {
			b = b.Range()
		}
		out = append(out, b)
	}
	return out
}

func (p panel) thresholds() *dashboard.ThresholdsConfigBuilder {
	steps := p.steps
	if steps == nil {
		steps = []dashboard.Threshold{{Color: "text"}}
	}
	return dashboard.NewThresholdsConfigBuilder().Mode(dashboard.ThresholdsModeAbsolute).Steps(steps)
}

// line draws the queries over time. Checks are days apart, so a value stands until the next one and points are shown.
func (p panel) line() *timeseries.PanelBuilder {
	return timeseries.NewPanelBuilder().Title(p.title).Description(p.help).Unit(p.unit).Decimals(p.decimals).
		Span(p.wide).Height(p.high).Datasource(source()).Targets(p.targets(false)).Thresholds(p.thresholds()).
		LineInterpolation(common.LineInterpolationStepAfter).LineWidth(2).FillOpacity(0).
		Legend(common.NewVizLegendOptionsBuilder().ShowLegend(true).DisplayMode(common.LegendDisplayModeList).Placement(
			common.LegendPlacementBottom))
}

// look is how one series or column of a panel differs from the others.
func look(pairs ...any) []dashboard.DynamicConfigValue {
	var out []dashboard.DynamicConfigValue
	for i := 0; i < len(pairs); i += 2 {
		out = append(out, dashboard.DynamicConfigValue{Id: pairs[i].(string), Value: pairs[i+1]})
	}
	return out
}

func colour(fixed string) any { return map[string]any{"mode": "fixed", "fixedColor": fixed} }

// band draws the first query as a line, the interval between "upper end" and "lower end" as a band, and both limits
// dashed: they come from the machine, so they are no thresholds of the panel. One panel for each machine that was
// chosen.
func (p panel) band() *timeseries.PanelBuilder {
	limit := look("color", colour("red"), "custom.lineStyle", map[string]any{"fill": "dash", "dash": []int{10, 10}},
		"custom.lineWidth", 1)
	edge := look("color", colour("blue"), "custom.lineWidth", 0, "custom.hideFrom",
		map[string]any{"legend": true, "tooltip": false, "viz": false})
	filled := append(look("custom.fillBelowTo", "lower end", "custom.fillOpacity", 20), edge...)
	return p.line().Repeat("machine").RepeatDirection(dashboard.PanelRepeatDirectionH).
		OverrideByName(p.queries[0].legend, look("color", colour("blue"), "custom.showPoints", "always")).
		OverrideByName("upper end", filled).OverrideByName("lower end", edge).
		OverrideByName("limit", limit).OverrideByName("limit, other way", limit)
}

// states draws when each series was 0 and when 1.
func (p panel) states(quiet, stands string) *statetimeline.PanelBuilder {
	return statetimeline.NewPanelBuilder().Title(p.title).Description(p.help).Unit(p.unit).
		Span(p.wide).Height(p.high).Datasource(source()).Targets(p.targets(false)).Thresholds(p.thresholds()).
		Mappings(words(quiet, stands)).ShowValue(common.VisibilityModeAuto).MergeValues(true)
}

// words says what 0 and 1 mean.
func words(zero, one string) []dashboard.ValueMapping {
	green, red := "green", "red"
	return []dashboard.ValueMapping{
		{ValueMap: &dashboard.ValueMap{Type: dashboard.MappingTypeValueToText,
			Options: map[string]dashboard.ValueMappingResult{
				"0": {Text: &zero, Color: &green}, "1": {Text: &one, Color: &red},
			}}}}
}

// number draws the latest value of each query, large.
func (p panel) number() *stat.PanelBuilder {
	return stat.NewPanelBuilder().Title(p.title).Description(p.help).Unit(p.unit).Decimals(p.decimals).
		Span(p.wide).Height(p.high).Datasource(source()).Targets(p.targets(true)).Thresholds(p.thresholds()).
		ColorMode(common.BigValueColorModeValue).GraphMode(common.BigValueGraphModeNone).NoValue("not known").
		ReduceOptions(common.NewReduceDataOptionsBuilder().Calcs([]string{"lastNotNull"}))
}

// rows lists the latest value of each series, one a row.
func (p panel) rows() *table.PanelBuilder {
	targets := p.targets(true)
	for _, t := range targets {
		t.(*prometheus.DataqueryBuilder).Format(prometheus.PromQueryFormatTable)
	}
	return table.NewPanelBuilder().Title(p.title).Description(p.help).Unit(p.unit).Decimals(p.decimals).
		Span(p.wide).Height(p.high).Datasource(source()).Targets(targets).Thresholds(p.thresholds()).
		Footer(common.NewTableFooterOptionsBuilder().Show(false).Reducer([]string{})).
		WithTransformation(dashboard.DataTransformerConfig{Id: "filterFieldsByName", Options: map[string]any{
			"include": map[string]any{"pattern": "^(machine|Value.*)$"}}})
}

// machines lists one machine a row, however many there are: the queries, each by machine, are joined to one table.
// names are the columns that stay, by the field that they come from.
func (p panel) machines(order []string, names map[string]string) *table.PanelBuilder {
	index, left := map[string]any{}, map[string]any{}
	for i, field := range order {
		index[field] = i
	}
	for _, q := range []string{"Time", "Time 1", "Time 2", "Time 3", "Time 4", "Time 5", "Time 6", "Time 7", "Value #F",
		"Value #G"} {
		left[q] = true
	}
	targets := p.targets(true)
	for _, t := range targets {
		t.(*prometheus.DataqueryBuilder).Format(prometheus.PromQueryFormatTable)
	}
	return table.NewPanelBuilder().Title(p.title).Description(p.help).Unit(p.unit).
		Span(p.wide).Height(p.high).Datasource(source()).Targets(targets).Thresholds(p.thresholds()).
		Footer(common.NewTableFooterOptionsBuilder().Show(false).Reducer([]string{})).
		WithTransformation(dashboard.DataTransformerConfig{Id: "joinByField",
			Options: map[string]any{"byField": "machine", "mode": "outer"}}).
		WithTransformation(dashboard.DataTransformerConfig{Id: "organize", Options: map[string]any{
			"excludeByName": left, "indexByName": index, "renameByName": names}})
}

// chosen are the machines that a person picks: of one shop or all (a label of the scrapes, see machines.json), several
// or all.
func chosen(b *dashboard.DashboardBuilder) *dashboard.DashboardBuilder {
	pick := func(name, label, of string) *dashboard.QueryVariableBuilder {
		return dashboard.NewQueryVariableBuilder(name).Label(label).Datasource(source()).Query(
			dashboard.StringOrMap{String: &of}).
			Refresh(dashboard.VariableRefreshOnTimeRangeChanged).Sort(dashboard.VariableSortAlphabeticalAsc).
			Multi(true).IncludeAll(true)
	}
	// also those without one
	return b.WithVariable(pick("shop", "shop", `label_values(tramd_build_info, shop)`).AllValue(".*")).
		WithVariable(
			pick("machine", "machine", `label_values(tramd_build_info{shop=~"$shop"}, machine)`))
}

// upTo colours what is good below doubtful, and bad from bad on.
func upTo(doubtful, bad float64) []dashboard.Threshold {
	return []dashboard.Threshold{{Color: "green"}, {Color: "orange", Value: &doubtful}, {Color: "red", Value: &bad}}
}

func board(title, uid, help string) *dashboard.DashboardBuilder {
	return dashboard.NewDashboardBuilder(title).Uid(uid).Description(help).Tags([]string{"tramd"}).
		Timezone("browser").Refresh("1m").Time("now-90d", "now").Readonly().Tooltip(
		dashboard.DashboardCursorSyncCrosshair).
		WithVariable(dashboard.NewDatasourceVariableBuilder("datasource").Label("Prometheus").Type("prometheus"))
}

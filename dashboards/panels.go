package main

import (
	"github.com/grafana/grafana-foundation-sdk/go/cog"
	"github.com/grafana/grafana-foundation-sdk/go/cog/variants"
	"github.com/grafana/grafana-foundation-sdk/go/common"
	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
	"github.com/grafana/grafana-foundation-sdk/go/prometheus"
	"github.com/grafana/grafana-foundation-sdk/go/stat"
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
		b := prometheus.NewDataqueryBuilder().Expr(q.expr).LegendFormat(q.legend).RefId(string(rune('A' + i))).Datasource(source())
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
		Legend(common.NewVizLegendOptionsBuilder().ShowLegend(true).DisplayMode(common.LegendDisplayModeList).Placement(common.LegendPlacementBottom))
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

// upTo colours what is good below doubtful, and bad from bad on.
func upTo(doubtful, bad float64) []dashboard.Threshold {
	return []dashboard.Threshold{{Color: "green"}, {Color: "orange", Value: &doubtful}, {Color: "red", Value: &bad}}
}

func board(title, uid, help string) *dashboard.DashboardBuilder {
	return dashboard.NewDashboardBuilder(title).Uid(uid).Description(help).Tags([]string{"tramd"}).
		Timezone("browser").Refresh("1m").Time("now-90d", "now").Readonly().Tooltip(dashboard.DashboardCursorSyncCrosshair).
		WithVariable(dashboard.NewDatasourceVariableBuilder("datasource").Label("Prometheus").Type("prometheus"))
}

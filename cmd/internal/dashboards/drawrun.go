package dashboards

import (
	"github.com/grafana/grafana-foundation-sdk/go/cog"
	"github.com/grafana/grafana-foundation-sdk/go/common"
	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
	"github.com/grafana/grafana-foundation-sdk/go/table"
	"github.com/grafana/grafana-foundation-sdk/go/xychart"

	"charwarden/cmd/internal/names"
)

// column of a table or axis of a chart: one query, one figure a row.
type column struct{ name, unit, expr string }

// tableOf makes a table of one row for each set of labels that the columns'
// queries share.
func tableOf(p panel, columns ...column) panel {
	for _, c := range columns {
		p.queries = append(p.queries, query{expr: c.expr})
	}
	p.draw = func(p *panel) builder {
		b := table.NewPanelBuilder().Targets(p.targets(tableAtTheEnd)).NoValue("-").
			ColorScheme(colour(dashboard.FieldColorModeIdThresholds)).Thresholds(thresholds(p.limits)).
			Align(common.FieldTextAlignmentAuto).Transformations(joined(columns)).
			SortBy([]cog.Builder[common.TableSortByFieldState]{common.NewTableSortByFieldStateBuilder().DisplayName(labelRun).Desc(true)})
		for _, c := range columns {
			b.OverrideByName(c.name, []dashboard.DynamicConfigValue{{Id: "unit", Value: c.unit}})
		}
		return b
	}
	return p
}

// chartOf makes a chart of the second column over the first, one line of points
// a run: what happened at the same x can be compared whatever the day.
func chartOf(p panel, x, y column) panel {
	p.plugin = "11.1.0" // without it, Grafana takes the options for those of an older chart and shows none
	p.queries = []query{{expr: x.expr}, {expr: y.expr}}
	p.draw = func(p *panel) builder {
		columns := []column{x, y}
		b := xychart.NewPanelBuilder().Targets(p.targets(tableOverTime)).MaxDataPoints(chartPoints).NoValue(noData).
			Transformations(append(joined(columns), perRun)).
			ColorScheme(colour(dashboard.FieldColorModeIdPaletteClassicByName)).
			Show(xychart.XYShowModePoints).PointShape(xychart.PointShapeCircle).
			PointSize(xychart.NewXychartFieldConfigPointSizeBuilder().Fixed(3)).FillOpacity(50).
			Mapping(xychart.SeriesMappingAuto).Series([]cog.Builder[xychart.XYSeriesConfig]{axes(x.name, y.name)}).
			Legend(legend(true)).Tooltip(tooltip(common.TooltipDisplayModeSingle))
		for _, c := range columns {
			b.OverrideByName(c.name, []dashboard.DynamicConfigValue{
				{Id: "unit", Value: c.unit}, {Id: "custom.axisLabel", Value: c.name}})
		}
		return b
	}
	return p
}

// chartPoints is how many steps a chart asks for, over all of the time range:
// of a month one every 9 min. Prometheus gives 11000 at most.
const chartPoints = 5000

// axes says which column is which, for every run.
func axes(x, y string) *xychart.XYSeriesConfigBuilder {
	named := func(name string) *xychart.MatcherConfigBuilder {
		return xychart.NewMatcherConfigBuilder().Id("byName").Options(name)
	}
	return xychart.NewXYSeriesConfigBuilder().
		X(xychart.NewXychartXYSeriesConfigXBuilder().Matcher(named(x))).
		Y(xychart.NewXychartXYSeriesConfigYBuilder().Matcher(named(y)))
}

// joined puts the answers of several queries side by side, a column each, after
// the labels that they share, and names the columns.
func joined(columns []column) []dashboard.DataTransformerConfig {
	rename := map[string]string{}
	order := map[string]int{labelRun: 0, names.LabelAlarm: 1, names.LabelPriority: 2} // what is not named here comes last
	for i, c := range columns {
		rename["Value #"+refID(i)], order["Value #"+refID(i)] = c.name, i+10
	}
	if len(columns) == 1 { // then it has no letter
		rename["Value"], order["Value"] = columns[0].name, 10
	}
	return []dashboard.DataTransformerConfig{
		{Id: "merge", Options: map[string]any{}},
		{Id: "organize", Options: map[string]any{
			"excludeByName": map[string]bool{"Time": true}, "indexByName": order, "renameByName": rename}},
	}
}

// perRun makes a table of its own of each run's rows.
var perRun = dashboard.DataTransformerConfig{Id: "partitionByValues", Options: map[string]any{
	"fields": []string{labelRun}, "keepFields": false, "naming": map[string]any{"asLabels": true}}}

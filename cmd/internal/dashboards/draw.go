package dashboards

import (
	"slices"

	"github.com/grafana/grafana-foundation-sdk/go/bargauge"
	"github.com/grafana/grafana-foundation-sdk/go/common"
	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
	"github.com/grafana/grafana-foundation-sdk/go/stat"
	"github.com/grafana/grafana-foundation-sdk/go/statetimeline"
	"github.com/grafana/grafana-foundation-sdk/go/timeseries"
)

// noData is what stands where nothing came: it must not look like a zero.
const noData = "no data"

// lines over time, behind them the limits. A gap stays a gap: nobody watched
// there.
func lines(p *panel) builder { return graph(p, common.GraphDrawStyleLine, 0) }

// bars over time, for what is counted: by the minute at least, because an
// exported count is told twice a minute.
func bars(p *panel) builder { return graph(p, common.GraphDrawStyleBars, 60).Interval("1m") }

func graph(p *panel, style common.GraphDrawStyle, fill float64) *timeseries.PanelBuilder {
	never := false
	b := timeseries.NewPanelBuilder().Targets(p.targets(overTime)).
		Unit(p.unit).NoValue(noData).DrawStyle(style).LineWidth(1).FillOpacity(fill).
		ShowPoints(common.VisibilityModeAuto).SpanNulls(common.BoolOrFloat64{Bool: &never}).
		ColorScheme(colour(dashboard.FieldColorModeIdPaletteClassicByName)).
		Thresholds(thresholds(p.limits)).
		Legend(legend(true)).Tooltip(tooltip(common.TooltipDisplayModeMulti))
	if len(p.limits) > 0 {
		b.ThresholdsStyle(common.NewGraphThresholdsStyleConfigBuilder().Mode(common.GraphThresholdsStyleModeDashedAndArea))
	}
	// The axis reaches the limits, so that a curve far from them looks far from them.
	for _, l := range p.limits {
		if l.below {
			b.AxisSoftMin(l.at)
			break
		}
	}
	for _, l := range slices.Backward(p.limits) {
		if !l.below {
			b.AxisSoftMax(l.at)
			break
		}
	}
	return b
}

// figures at the end of the time range, large. They are asked for at that
// moment alone: the last value of a series that has ended is not shown as live.
func figures(p *panel) builder {
	return stat.NewPanelBuilder().Targets(p.targets(atTheEnd)).
		Unit(p.unit).NoValue(noData).Mappings(p.mappings()).
		ColorScheme(colour(dashboard.FieldColorModeIdThresholds)).Thresholds(thresholds(p.limits)).
		GraphMode(common.BigValueGraphModeNone).ColorMode(common.BigValueColorModeBackground).
		JustifyMode(common.BigValueJustifyModeAuto).Orientation(common.VizOrientationAuto).
		TextMode(common.BigValueTextModeValueAndName).
		ReduceOptions(common.NewReduceDataOptionsBuilder().Calcs([]string{"last"}))
}

// bands are rows of states over time, named in words.
func bands(p *panel) builder {
	return statetimeline.NewPanelBuilder().Targets(p.targets(overTime)).
		Unit(p.unit).NoValue(noData).Mappings(p.mappings()).
		ColorScheme(colour(dashboard.FieldColorModeIdThresholds)).Thresholds(thresholds(p.limits)).
		ShowValue(common.VisibilityModeAuto).NeverSpanNulls().RowHeight(0.8).
		Legend(legend(false)).Tooltip(tooltip(common.TooltipDisplayModeSingle))
}

// runBars are one bar a run, over the whole time range.
func runBars(p *panel) builder {
	return bargauge.NewPanelBuilder().Targets(p.targets(atTheEnd)).
		Unit(p.unit).NoValue(noData).Min(0).
		ColorScheme(colour(dashboard.FieldColorModeIdThresholds)).Thresholds(barColours(p.limits)).
		DisplayMode(common.BarGaugeDisplayModeBasic).ValueMode(common.BarGaugeValueModeText).
		NamePlacement(common.BarGaugeNamePlacementLeft).ShowUnfilled(true).Orientation(common.VizOrientationHorizontal).
		Sizing(common.BarGaugeSizingAuto).MinVizHeight(16).MinVizWidth(8).MaxVizHeight(300).
		Legend(legend(false)).
		ReduceOptions(common.NewReduceDataOptionsBuilder().Calcs([]string{"last"}))
}

// barColours are the thresholds with a base colour that can be seen.
func barColours(all []limit) *dashboard.ThresholdsConfigBuilder {
	steps, err := thresholds(all).Build()
	if err == nil && steps.Steps[0].Color == none {
		steps.Steps[0].Color = "blue"
	}
	return dashboard.NewThresholdsConfigBuilder().Mode(steps.Mode).Steps(steps.Steps)
}

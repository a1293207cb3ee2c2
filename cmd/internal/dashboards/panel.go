package dashboards

import (
	"maps"
	"slices"

	"github.com/grafana/grafana-foundation-sdk/go/cog"
	"github.com/grafana/grafana-foundation-sdk/go/cog/variants"
	"github.com/grafana/grafana-foundation-sdk/go/common"
	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
	"github.com/grafana/grafana-foundation-sdk/go/prometheus"
)

// panel is one graph, table or row of figures.
type panel struct {
	title string
	look  string // what it shows, and what to look for
	width uint32 // of 24; 0 is 12
	high  uint32 // 0 is 8

	unit    string
	queries []query
	limits  []limit
	words   map[string]word // what a value is called
	plugin  string          // the oldest version of Grafana whose options these are; "" is any

	draw func(*panel) builder
}

// word stands for a value.
type word struct{ text, colour string }

type builder = cog.Builder[dashboard.Panel]

// build makes the panel that has this id and place.
func (p *panel) build(id, x, y uint32) (dashboard.Panel, error) {
	made, err := p.draw(p).Build()
	if err != nil {
		return made, err
	}
	source := source()
	made.Id, made.Datasource = &id, &source
	made.Title, made.Description = &p.title, &p.look
	if p.plugin != "" {
		made.PluginVersion = &p.plugin
	}
	made.GridPos = &dashboard.GridPos{X: x, Y: y, W: p.w(), H: p.h()}
	return made, nil
}

func (p *panel) w() uint32 { return or(p.width, 12) }
func (p *panel) h() uint32 { return or(p.high, 8) }

func or(n, fallback uint32) uint32 {
	if n == 0 {
		return fallback
	}
	return n
}

// source is the data source that the viewer chose. One that is fixed would
// break on every other server.
func source() common.DataSourceRef {
	kind, uid := "prometheus", "${"+varSource+"}"
	return common.DataSourceRef{Type: &kind, Uid: &uid}
}

// as says how a query is asked.
type as func(*prometheus.DataqueryBuilder)

func overTime(q *prometheus.DataqueryBuilder) { q.Range() }

func atTheEnd(q *prometheus.DataqueryBuilder) { q.Instant() }

func tableAtTheEnd(q *prometheus.DataqueryBuilder) {
	q.Instant().Format(prometheus.PromQueryFormatTable)
}

func tableOverTime(q *prometheus.DataqueryBuilder) {
	q.Range().Format(prometheus.PromQueryFormatTable)
}

func (p *panel) targets(how as) (all []cog.Builder[variants.Dataquery]) {
	for i, q := range p.queries {
		b := prometheus.NewDataqueryBuilder().Expr(q.expr).RefId(refID(i)).Datasource(source()).
			LegendFormat(q.legend).EditorMode(prometheus.QueryEditorModeCode)
		how(b)
		all = append(all, b)
	}
	return all
}

// refID numbers queries: A, B, C, ...
func refID(i int) string { return string(rune('A' + i)) }

func (p *panel) mappings() []dashboard.ValueMapping {
	if len(p.words) == 0 {
		return nil
	}
	m := dashboard.NewValueMap()
	for i, value := range slices.Sorted(maps.Keys(p.words)) {
		w, n := p.words[value], int32(i)
		m.Options[value] = dashboard.ValueMappingResult{Text: &w.text, Color: &w.colour, Index: &n}
	}
	return []dashboard.ValueMapping{{ValueMap: m}}
}

func colour(mode dashboard.FieldColorModeId) *dashboard.FieldColorBuilder {
	return dashboard.NewFieldColorBuilder().Mode(mode)
}

// legend below the graph. What the library leaves unset hides it.
func legend(show bool) *common.VizLegendOptionsBuilder {
	return common.NewVizLegendOptionsBuilder().ShowLegend(show).
		DisplayMode(common.LegendDisplayModeList).Placement(common.LegendPlacementBottom)
}

func tooltip(mode common.TooltipDisplayMode) *common.VizTooltipOptionsBuilder {
	return common.NewVizTooltipOptionsBuilder().Mode(mode).Sort(common.SortOrderDescending)
}

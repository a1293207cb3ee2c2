// The library calls its version 1 of a dashboard deprecated; version 2 is read by
// the newest Grafana only, version 1 by all of them.
//
//lint:file-ignore SA1019 version 1 is chosen, see above

package dashboards

import (
	"errors"

	"github.com/grafana/grafana-foundation-sdk/go/cog"
	"github.com/grafana/grafana-foundation-sdk/go/common"
	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
)

// board is one dashboard: rows of panels.
type board struct {
	uid, title, about string
	from              string // what it shows at first, up to now
	refresh           string // "" is by hand
	variables         []cog.Builder[dashboard.VariableModel]
	notes             []annotation
	rows              []row
}

type row struct {
	title  string
	panels []panel
}

// annotation marks moments or spans in every graph of a board.
type annotation struct {
	name, expr, title, text, colour string
}

const gridWidth = 24

func (b board) build() (dashboard.Dashboard, error) {
	d := dashboard.NewDashboardBuilder(b.title).Uid(b.uid).Description(b.about).
		Tags([]string{"charwarden"}).Editable().Tooltip(dashboard.DashboardCursorSyncCrosshair).
		Time(b.from, "now").Timezone(common.TimeZoneBrowser).Refresh(b.refresh).
		Variables(b.variables).
		Link(dashboard.NewDashboardLinkBuilder("charwarden").Type(dashboard.DashboardLinkTypeDashboards).
			Tags([]string{"charwarden"}).KeepTime(true))
	for _, n := range b.notes {
		d.Annotation(n.build())
	}
	made, err := d.Build()
	if err != nil {
		return made, err
	}
	made.Panels, err = b.panels()
	return made, err
}

// panels places the rows' panels from left to right, top to bottom, and numbers
// all of them. The library numbers none.
func (b board) panels() (all []dashboard.PanelOrRowPanel, err error) {
	var id, y uint32
	for _, r := range b.rows {
		id++
		head, e := dashboard.NewRowBuilder(r.title).Id(id).GridPos(dashboard.GridPos{W: gridWidth, H: 1, Y: y}).Build()
		err = errors.Join(err, e)
		all = append(all, dashboard.PanelOrRowPanel{RowPanel: &head})
		y++
		var x, high uint32
		for _, p := range r.panels {
			if x+p.w() > gridWidth {
				x, y, high = 0, y+high, 0
			}
			id++
			made, e := p.build(id, x, y)
			err = errors.Join(err, e)
			all = append(all, dashboard.PanelOrRowPanel{Panel: &made})
			x, high = x+p.w(), max(high, p.h())
		}
		y += high
	}
	return all, err
}

func (n annotation) build() *dashboard.AnnotationQueryBuilder {
	return dashboard.NewAnnotationQueryBuilder().Name(n.name).Datasource(source()).Enable(true).
		IconColor(n.colour).Expr(n.expr).TitleFormat(n.title).TextFormat(n.text).Step("15s")
}

// sourceVariable lets the viewer choose the Prometheus.
func sourceVariable() cog.Builder[dashboard.VariableModel] {
	return dashboard.NewDatasourceVariableBuilder(varSource).Label("data from").Type("prometheus")
}

// choice is a variable that lists the values of a label of a metric. All stands
// for what matches the regular expression all.
func choice(name, label, metric, from, all, about string, several bool) cog.Builder[dashboard.VariableModel] {
	expr := "label_values(" + metric + ", " + from + ")"
	text, value := "All", "$__all"
	return dashboard.NewQueryVariableBuilder(name).Label(label).Description(about).Datasource(source()).
		Query(dashboard.StringOrMap{String: &expr}).Definition(expr).
		Refresh(dashboard.VariableRefreshOnTimeRangeChanged).Sort(dashboard.VariableSortNumericalDesc).
		Multi(several).IncludeAll(true).AllValue(all).
		Current(dashboard.VariableOption{Text: dashboard.StringOrArrayOfString{String: &text}, Value: dashboard.StringOrArrayOfString{String: &value}})
}

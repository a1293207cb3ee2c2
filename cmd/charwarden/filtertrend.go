package main

import (
	"fmt"
	"math"

	"charwarden/sensors/derive/filter"
	"charwarden/sensors/derive/gas"
)

var nan = math.NaN()

// filterTrend is the loading against the charcoal burnt.
type filterTrend struct {
	points []filter.Point // kg, percent
	line   filter.Line
	due    float64 // kg at which it is due; NaN: cannot be told
	left   float64 // kg until then, from the last row
	width  float64 // half width of both, k = 2
	hours  float64
}

// certain is by how many standard errors a loading must rise, as the daemon
// has it.
const certain = 3

// trendOf reads the file and puts a line through it.
func (b *bench) trendOf(s *settings) (*filterTrend, error) {
	col, err := readColumns(s.word["trend"], "kg", "pa", "nm3_per_h")
	if err != nil {
		return nil, err
	}
	kg, pa, flow := col[0], col[1], col[2]
	if len(kg) < 3 {
		return nil, fmt.Errorf("%s: %d rows: 3 or more are wanted", s.word["trend"], len(kg))
	}
	for i := range kg {
		if !(pa[i] > 0 && flow[i] > 0 && kg[i] >= 0) || i > 0 && kg[i] < kg[i-1] {
			return nil, fmt.Errorf("%s: row %d: %g,%g,%g: kg must not go back, pa and nm3_per_h be above 0", s.word["trend"], i+1, kg[i], pa[i], flow[i])
		}
	}
	if !b.known {
		b.clean(pa[0], flow[0])
	}
	t := &filterTrend{due: nan, left: nan, width: nan, hours: nan}
	for i := range kg {
		st := b.stream
		st.Flow = flow[i]
		t.points = append(t.points, filter.Point{kg[i], b.loading(&st, pa[i])})
	}
	t.line = filter.Fit(t.points)
	if !t.line.Rises(certain) {
		return t, nil
	}
	last := len(kg) - 1
	t.due, t.width = t.line.Reaches(100)
	t.left = max(0, t.due-kg[last])
	use := flow[last] / b.yield
	if s.has("use") {
		use = s.of("use")
	}
	t.hours = t.left / use
	return t, nil
}

func trendAnswer(s *settings) (outcome, error) {
	for _, f := range []string{"flow", "drop", "cake"} {
		if s.has(f) {
			return outcome{}, &flagError{f, "and --trend cannot both be set: the file has its own"}
		}
	}
	b, err := benchOf(s)
	if err != nil {
		return outcome{}, err
	}
	notes := []string{}
	if !b.known {
		notes = append(notes, "The first row counts as the clean filter.")
	}
	t, err := b.trendOf(s)
	if err != nil {
		return outcome{}, err
	}
	a := filterCells(b)
	last := t.points[len(t.points)-1]
	a.set("loading_percent", t.line.At(last[0]))
	a.set("rows", float64(t.line.N))
	if t.line.Determinate {
		a.set("slope_percent_per_kg", t.line.Slope)
		a.set("intercept_percent", t.line.At(0))
	}
	a.set("kg_left", t.left)
	a.set("kg_left_width", t.width)
	a.set("hours_left", t.hours)
	if math.IsNaN(t.left) {
		notes = append(notes, "When it is due cannot be told: the loading does not rise by 3 standard errors.")
	}
	return outcome{a, notes}, nil
}

// filterCells are all numbers of a filter, with those of the gas.
func filterCells(b *bench) cells {
	flow := b.stream.Flow
	if flow == 0 {
		flow = nan
	}
	margin := filter.Margin(b.stream.Temp, b.stream.Gas[gas.H2O], b.stream.Pressure)
	return cells{
		{"flow_nm3_per_h", "gas flow (wet)", "flow", "Nm3/h", 2, flow},
		{"velocity_m_per_s", "velocity in the medium", "speed", "m/s", 3, nan},
		{"clean_drop_pa", "drop of the clean filter", "clean", "Pa", 1, nan},
		{"drop_pa", "drop", "drop", "Pa", 1, nan},
		{"cake_per_m", "resistance of the dust", "dust", "1/m", -4, nan},
		{"loading_percent", "loading", "loading", "%", 1, nan},
		{"dew_point_c", "dew point of the gas", "dew", "degC", 1, b.stream.Temp - margin},
		{"dew_margin_k", "above it before the filter", "margin", "K", 1, margin},
		{"rows", "rows", "", "", 0, nan},
		{"slope_percent_per_kg", "loading rises by", "slope", "%/kg", -4, nan},
		{"intercept_percent", "loading at 0 kg", "at 0 kg", "%", 1, nan},
		{"kg_left", "charcoal until it is due", "left", "kg", 2, nan},
		{"kg_left_width", "+- (95 %, of the line)", "+-", "kg", 2, nan},
		{"hours_left", "time until it is due", "time", "h", 1, nan},
	}
}

// filterFigure is the loading over kg of a trend, else the drop over flow.
func filterFigure(s *sheet, set *settings, a *outcome) (*chart, error) {
	if !set.has("trend") {
		// The dust stays, not the drop.
		along := set.with("cake", a.cells.find("cake_per_m").value)
		if !set.has("area") {
			along.number["area"] = 1
			if set.has("drop") {
				b, err := benchOf(set)
				if err != nil {
					return nil, err
				}
				along.number["cake"] = b.medium.Resistance(&b.stream, set.of("drop"))
			} else {
				along.number["cake"] = 0
			}
		}
		delete(along.number, "drop")
		c, err := s.along(along, "flow", 0.1*set.of("flow"), 1.5*set.of("flow"))
		if err != nil {
			return nil, err
		}
		c.under = s.held(set, "flow")
		if set.has("drop") {
			c.under = "The dust that takes " + asPrinted(inPa.text(set.of("drop"))) + " at " + asPrinted(inNm3h.text(set.of("flow"))) + ". " + c.under
		}
		return c, nil
	}
	b, err := benchOf(set)
	if err != nil {
		return nil, err
	}
	t, err := b.trendOf(set)
	if err != nil {
		return nil, err
	}
	c := &chart{title: "Filter: loading over charcoal burnt", under: s.held(set, ""), axis: "charcoal burnt, kg"}
	var seen, line, due []float64
	add := func(kg, loading float64) {
		c.x = append(c.x, kg)
		seen, line, due = append(seen, loading), append(line, t.line.At(kg)), append(due, 100)
	}
	for _, p := range t.points {
		add(p[0], p[1])
	}
	if last := t.points[len(t.points)-1][0]; t.due > last && t.due < 20*last {
		add(t.due, nan)
	}
	c.panels = []chartPanel{{"Loading", "%", []series{{"measured", seen, true}, {"line", line, false}, {"due for cleaning", due, false}}}}
	return c, nil
}

package main

import (
	"math"

	"charwarden/sensors/derive/filter"
	"charwarden/sensors/derive/hearth"
)

var filterSheet = &sheet{
	name: "filter",
	usage: "(--k1 K --thickness L --area A [--k2 K] | --clean-drop Pa --clean-flow Nm3/h [--area A])" +
		" (--flow Nm3/h [--drop Pa | --cake R] | --trend FILE.csv [--use kg/h]) [--temp T] [--pressure kPa] [--full X] [--return R] [--moisture W] [--loss Q]",
	does:    "What a filter takes, clean and with dust; the dust from what it takes; and when it is due.",
	heading: "Filter",
	sample:  "flow=2..12/11",
	knobs: append([]knob{
		{flag: "flow", key: "flow_nm3_per_h", name: "gas flow (wet)", in: inNm3h, low: 1e-3, high: 1000, help: "gas through the filter, `Nm3/h` wet"},
		{flag: "temp", key: "temp_c", name: "gas before the filter", in: inDegC, value: "40", low: -20, high: 200, help: "of the gas before the filter, `degC`, -20 to 200"},
		{flag: "pressure", key: "pressure_kpa", name: "pressure before the filter", in: inKPa, value: "101.325", low: 40e3, high: 120e3, help: "absolute, of the gas before the filter, `kPa`, 40 to 120"},
		{flag: "area", key: "area_m2", name: "area", in: inM2, low: 1e-5, high: 100, help: "of the medium, across the flow, `m2`"},
		{flag: "thickness", key: "thickness_mm", name: "thickness", in: inMM, low: 1e-5, high: 10, help: "of the medium, along the flow, `mm`"},
		{flag: "k1", key: "k1_m2", name: "permeability k1", in: inM2, low: 1e-16, high: 1e-3, help: "Darcy's permeability of the clean medium, `m2`"},
		{flag: "k2", key: "k2_m", name: "permeability k2", in: inMetres, low: 1e-12, high: 1e3, help: "Forchheimer's of the clean medium, `m` (default none: the first power of the flow only)"},
		{flag: "clean-drop", key: "clean_drop_seen_pa", name: "clean drop", in: inPa, low: 1e-3, high: 1e5, help: "what yours took when clean, `Pa`, in place of k1, k2 and thickness"},
		{flag: "clean-flow", key: "clean_flow_nm3_per_h", name: "flow at the clean drop", in: inNm3h, low: 1e-3, high: 1000, help: "and at what flow, at the same temperature, `Nm3/h` wet"},
		{flag: "drop", key: "drop_pa", name: "drop", in: inPa, low: 0, high: 1e5, help: "what it takes now, `Pa`: gives dust and loading"},
		{flag: "cake", key: "cake_per_m", name: "resistance of the dust", in: inPerM, low: 0, high: 1e15, help: "of the dust on the medium, `1/m`: gives the drop"},
		{flag: "full", key: "full", name: "due at", in: inRatio, value: "3", low: 1.2, high: 20, help: "resistance at which it is due, a `ratio` to the clean one, 1.2 to 20"},
		{flag: "trend", name: "trend of", help: "`FILE` with the columns kg,pa,nm3_per_h: charcoal burnt, drop and flow; without a clean filter its first row is one"},
		{flag: "use", key: "use_kg_per_h", name: "charcoal use", in: inKgh, low: 1e-3, high: 1000, help: "for the hours of a trend, `kg/h` (default by the last row's flow)"},
	}, hearthKnobs[:3]...),
	solve: filterAnswer,
	panels: []panel{
		{"Pressure across the filter", "Pa", []trace{{"drop_pa", 1}, {"clean_drop_pa", 1}}},
		{"Loading (100: due)", "%", []trace{{"loading_percent", 1}}},
		{"Above the dew point", "K", []trace{{"dew_margin_k", 1}}},
	},
	draw: filterFigure,
}

// bench is a filter on the bench, with the gas that goes through it.
type bench struct {
	medium filter.Medium
	known  bool // the clean medium is
	area   bool // its area is
	stream filter.Stream
	full   float64
	yield  float64 // Nm3 of wet gas of a kg of charcoal
}

func benchOf(s *settings) (*bench, error) {
	in := hearth.Default()
	in.Return, in.Moisture, in.Loss = s.of("return"), s.of("moisture"), s.of("loss")
	st, err := solveHearth(in)
	if err != nil {
		return nil, err
	}
	b := &bench{
		stream: filter.Stream{Flow: s.of("flow"), Temp: s.of("temp"), Pressure: s.of("pressure"), Gas: st.Wet},
		full:   s.of("full"), yield: st.YieldWet, area: s.has("area"),
	}
	b.medium = filter.Medium{K1: s.of("k1"), K2: math.Inf(1), Thickness: s.of("thickness"), Area: s.of("area")}
	if s.has("k2") {
		b.medium.K2 = s.of("k2")
	}
	byClean := s.has("clean-drop") || s.has("clean-flow")
	if byClean && (s.has("k1") || s.has("k2") || s.has("thickness")) {
		return nil, &flagError{"clean-drop", "and --k1, --k2 or --thickness cannot both be set: either tells the clean filter"}
	}
	switch {
	case byClean:
		if err := s.need("clean-drop", "clean-flow"); err != nil {
			return nil, err
		}
		b.clean(s.of("clean-drop"), s.of("clean-flow"))
	case s.has("k1") || s.has("k2") || s.has("thickness"):
		if err := s.need("k1", "thickness", "area"); err != nil {
			return nil, err
		}
		b.known = true
	}
	return b, nil
}

// clean makes the medium that takes so many Pa at a flow by the first power
// of it.
func (b *bench) clean(drop, flow float64) {
	if !b.area {
		b.medium.Area = 1
	}
	b.medium.Thickness, b.medium.K1, b.medium.K2 = 1, 1, math.Inf(1)
	s := b.stream
	s.Flow = flow
	b.medium.K1 = b.medium.Drop(&s, 0) / drop // Drop goes with 1/K1
	b.known = true
}

// loading as package filter has it, with the flow as the usual one.
func (b *bench) loading(s *filter.Stream, drop float64) float64 {
	return 100 * (drop/b.medium.Drop(s, 0) - 1) / (b.full - 1)
}

func filterAnswer(s *settings) (outcome, error) {
	if s.has("trend") {
		return trendAnswer(s)
	}
	b, err := benchOf(s)
	if err != nil {
		return outcome{}, err
	}
	if err := s.need("flow"); err != nil {
		return outcome{}, err
	}
	if !b.known {
		return outcome{}, &flagError{"k1", "is missing: give --k1, --thickness and --area of the medium, or --clean-drop and --clean-flow of yours"}
	}
	if s.has("drop") && s.has("cake") {
		return outcome{}, &flagError{"drop", "and --cake cannot both be set: one follows from the other"}
	}
	st := &b.stream
	clean, cake := b.medium.Drop(st, 0), s.of("cake")
	drop := b.medium.Drop(st, cake)
	if s.has("drop") {
		drop = s.of("drop")
		cake = b.medium.Resistance(st, drop)
	}
	if !b.area && s.has("cake") {
		return outcome{}, &flagError{"cake", "needs --area"}
	}
	a := filterCells(b)
	a.set("drop_pa", drop)
	a.set("clean_drop_pa", clean)
	a.set("loading_percent", b.loading(st, drop))
	if b.area {
		a.set("velocity_m_per_s", st.Volume()/b.medium.Area)
		a.set("cake_per_m", cake)
	}
	notes := []string{}
	if drop < clean*(1-1e-9) {
		notes = append(notes, "WARNING: it takes less than the clean filter: a hole, a lid that is off, or wrong numbers.")
	}
	if m := a.find("dew_margin_k").value; m < 10 {
		notes = append(notes, "WARNING: the gas is less than 10 K above its dew point: it drips where a wall is colder.")
	}
	if drop > 1500 {
		notes = append(notes, "WARNING: above 1500 Pa the gas expands in the filter: 1 % off and more.")
	}
	return outcome{a, notes}, nil
}

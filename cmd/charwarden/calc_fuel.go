package main

import (
	"fmt"

	"charwarden/sensors/derive/fuel"
)

var fuelSheet = &sheet{
	name:    "fuel",
	usage:   "(--mass kg | --volume L --density kg/m3) (--use kg/h | --flow Nm3/h) [--heel kg] [--hours H] [--return R] [--moisture W] [--loss Q]",
	does:    "How long a hopper of charcoal lasts, and what a flow of gas burns.",
	heading: "Charcoal in the hopper",
	sample:  "use=1..4/7",
	knobs: append([]knob{
		{flag: "mass", key: "mass_kg", name: "charcoal in the hopper", in: inKg, low: 0, high: 1e4, help: "charcoal in the hopper, `kg`"},
		{flag: "volume", key: "volume_l", name: "volume", in: inLitres, low: 0, high: 100, help: "of the charcoal in the hopper, `L`"},
		{flag: "density", key: "density_kg_per_m3", name: "bulk density", in: inDensity, low: 50, high: 600, help: "of the charcoal as it lies, `kg/m3`, 50 to 600; weigh a bucket of it"},
		{flag: "use", key: "charcoal_kg_per_h", name: "charcoal use", in: inKgh, low: 1e-3, high: 1000, help: "charcoal burnt, `kg/h`"},
		{flag: "flow", key: "gas_nm3_per_h", name: "gas flow (wet)", in: inNm3h, low: 1e-3, high: 5000, help: "or the gas that is drawn, `Nm3/h` wet"},
		{flag: "heel", key: "heel_kg", name: "heel", in: inKg, value: "0", low: 0, high: 1e4, share: true, help: "what must stay in the hopper, `kg`, or of the full one (30%): less lets hot gas through"},
		{flag: "hours", key: "hours", name: "running time", in: inHours, value: "0", low: 0, high: 3.6e6, help: "it has run so long since it was filled, `h`"},
	}, hearthKnobs[:3]...),
	solve: fuelAnswer,
	panels: []panel{
		{"In the hopper", "kg", []trace{{"left_kg", 1}, {"heel_kg", 1}}},
		{"Hours until the heel", "h", []trace{{"hours_left", 1}}},
		{"Charcoal as fired", "kg/h", []trace{{"charcoal_kg_per_h", 1}}},
	},
	draw: func(s *sheet, set *settings, a *outcome) (*chart, error) {
		run := a.cells.find("hours_left").value + set.of("hours")/3600
		return s.along(set, "hours", 0, 3600*run*1.1)
	},
}

func fuelAnswer(s *settings) (outcome, error) {
	if s.has("mass") && (s.has("volume") || s.has("density")) {
		return outcome{}, &flagError{"mass", "and --volume or --density cannot both be set: either tells what is in the hopper"}
	}
	full := s.of("mass")
	if !s.has("mass") {
		if !s.has("volume") && !s.has("density") {
			return outcome{}, &flagError{"mass", "is missing: give --mass, or --volume and --density"}
		}
		if err := s.need("volume", "density"); err != nil {
			return outcome{}, err
		}
		full = s.of("volume") * s.of("density")
	}
	if s.has("use") == s.has("flow") {
		return outcome{}, &flagError{"use", "or --flow must be set, one of them"}
	}
	st, err := solveHearth(hearthInput(s))
	if err != nil {
		return outcome{}, err
	}
	use := s.of("use")
	if s.has("flow") {
		use = s.of("flow") / st.YieldWet
	}
	hours, heel := s.of("hours")/3600, s.of("heel")
	if s.has("heel%") {
		heel = s.of("heel%") * full
	}
	burnt := use * hours
	left := max(0, full-burnt)
	lasts := 0.0
	if left > heel {
		lasts = fuel.RunTime(1, left, heel/left, use) // a m3 of so many kg
	}
	var notes []string
	switch {
	case heel > full:
		return outcome{}, &flagError{"heel", fmt.Sprintf("%s: is more than the hopper has: %.4g kg", inKg.text(heel), full)}
	case burnt >= full:
		notes = append(notes, "WARNING: the hopper is empty.")
	case left <= heel:
		notes = append(notes, "WARNING: no more than the heel is left: refuel.")
	}
	return outcome{cells{
		{"mass_kg", "charcoal in the full hopper", "full", "kg", 2, full},
		{"heel_kg", "heel, to be left", "heel", "kg", 2, heel},
		{"gas_nm3_per_h", "gas, wet", "gas", "Nm3/h", 2, use * st.YieldWet},
		{"charcoal_kg_per_h", "charcoal use", "use", "kg/h", 3, use},
		{"hours", "running time", "run", "h", 2, hours},
		{"burnt_kg", "burnt by then", "burnt", "kg", 2, min(burnt, full)},
		{"left_kg", "left", "left", "kg", 2, left},
		{"hours_left", "hours until the heel", "time", "h", 2, lasts},
	}, notes}, nil
}

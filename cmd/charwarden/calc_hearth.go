package main

import (
	"errors"

	"charwarden/sensors/derive/gas"
	"charwarden/sensors/derive/hearth"
)

var hearthSheet = &sheet{
	name: "hearth",
	usage: "[--return R] [--moisture W] [--loss Q | --imposed-temp T] [--carbon C] [--hydrogen H] [--oxygen O] [--ash A] [--hhv MJ/kg]" +
		" [--air-temp T] [--humidity RH] [--exhaust-temp T] [--lambda L] [--pressure kPa]",
	does:    "The gas that charcoal makes of its blast, in equilibrium, with the engine's exhaust led back.",
	heading: "Charcoal gas",
	sample:  "return=0..0.3/7",
	knobs:   hearthKnobs,
	solve:   hearthAnswer,
	panels: []panel{
		{"Gas, dry (steam: of the wet gas); the rest is nitrogen, argon and a trace of CH4", "vol %", []trace{{"co_percent_dry", 1}, {"h2_percent_dry", 1}, {"co2_percent_dry", 1}, {"h2o_percent_wet", 1}}},
		{"Temperatures", "degC", []trace{{"oxidation_c", 1}, {"bed_exit_c", 1}}},
		{"Heating value, dry", "MJ/Nm3", []trace{{"lhv_mj_per_nm3", 1}, {"mixture_kj_per_nm3", 1e-3}}},
		{"Of the charcoal's heat", "%", []trace{{"cold_gas_efficiency_percent", 1}}},
	},
}

// hearthKnobs: the bounds are those of package hearth, which checks them.
var hearthKnobs = []knob{
	{flag: "return", key: "return_fraction", name: "exhaust in the blast", in: inFraction, value: "0", help: "exhaust in the blast, `fraction` of its moles, 0 to 0.4"},
	{flag: "moisture", key: "moisture_fraction", name: "charcoal's moisture", in: inFraction, value: "0.05", help: "water in the charcoal as fired, `fraction` by mass, 0 to 0.25"},
	{flag: "loss", key: "heat_loss_fraction", name: "heat loss", in: inFraction, value: "0.1", help: "heat lost, `fraction` of the charcoal's lower heating value, 0 to 0.25"},
	{flag: "carbon", key: "carbon_fraction", name: "carbon", in: inFraction, value: "0.9", help: "`fraction` of the dry charcoal, 0.75 to 0.97"},
	{flag: "hydrogen", key: "hydrogen_fraction", name: "hydrogen", in: inFraction, value: "0.025", help: "`fraction` of the dry charcoal, 0 to 0.04"},
	{flag: "oxygen", key: "oxygen_fraction", name: "oxygen", in: inFraction, value: "0.05", help: "`fraction` of the dry charcoal, 0 to 0.15"},
	{flag: "ash", key: "ash_fraction", name: "ash", in: inFraction, value: "0.025", help: "`fraction` of the dry charcoal, 0 to 0.25"},
	{flag: "hhv", key: "hhv_mj_per_kg", name: "higher heating value", in: inMJkg, help: "of the dry charcoal, `MJ/kg`, 20 to 36 (default by its elements: Channiwala and Parikh, Fuel 81 (2002) 1051)"},
	{flag: "air-temp", key: "air_temp_c", name: "air at the nozzle", in: inDegC, value: "25", help: "air into the nozzle, `degC`, -20 to 300"},
	{flag: "humidity", key: "humidity_fraction", name: "humidity", in: inFraction, value: "0.6", help: "of the air, relative, always at 25 degC, `fraction`, 0 to 1"},
	{flag: "exhaust-temp", key: "exhaust_temp_c", name: "exhaust led back", in: inDegC, value: "150", help: "of the exhaust that is led back, `degC`, 0 to 600"},
	{flag: "lambda", key: "lambda", name: "engine's lambda", in: inRatio, value: "1", help: "the engine's air over its need, a `ratio`, 1 to 2"},
	{flag: "pressure", key: "pressure_kpa", name: "pressure", in: inKPa, value: "101.325", help: "absolute, `kPa`, 70 to 110"},
	{flag: "imposed-temp", key: "imposed_temp_c", name: "imposed bed exit", in: inDegC, help: "set the bed's exit instead of the loss, `degC`, 400 to 1500; the loss follows"},
}

// hearthInput is what the knobs are set to; the default where a sheet has no
// such knob.
func hearthInput(s *settings) hearth.Input {
	in := hearth.Default()
	for flag, to := range map[string]*float64{
		"carbon": &in.Fuel.Carbon, "hydrogen": &in.Fuel.Hydrogen, "oxygen": &in.Fuel.Oxygen, "ash": &in.Fuel.Ash, "hhv": &in.Fuel.HHV,
		"moisture": &in.Moisture, "return": &in.Return, "loss": &in.Loss,
		"air-temp": &in.AirTemp, "humidity": &in.Humidity, "exhaust-temp": &in.ExhaustTemp,
		"lambda": &in.Lambda, "pressure": &in.Pressure, "imposed-temp": &in.BedExit,
	} {
		if s.has(flag) {
			*to = s.of(flag)
		}
	}
	in.Imposed = s.has("imposed-temp")
	return in
}

// hearthOf solves the hearth that the knobs are set to.
func hearthOf(s *settings) (hearth.State, error) {
	in := hearthInput(s)
	if in.Imposed && s.given["loss"] {
		return hearth.State{}, &flagError{"imposed-temp", "and --loss cannot both be set: one follows from the other"}
	}
	return solveHearth(in)
}

// solveHearth names the flag of an input that cannot be.
func solveHearth(in hearth.Input) (hearth.State, error) {
	st, err := hearth.Solve(in)
	var out *hearth.RangeError
	if errors.As(err, &out) {
		if k := knobOf(hearthKnobs, out.Input); k != nil && out.Why != "" {
			return st, &flagError{k.flag, k.in.text(out.Value) + ": " + out.Why}
		} else if k != nil {
			return st, k.outside(out.Value, out.Low, out.High)
		}
	}
	return st, err
}

func hearthAnswer(s *settings) (outcome, error) {
	st, err := hearthOf(s)
	if err != nil {
		return outcome{}, err
	}
	d := &st.Dry
	return outcome{cells{
		{"return_fraction", "exhaust in the blast", "", "of its moles", 3, s.of("return")},
		{"moisture_fraction", "charcoal's moisture", "", "as fired", 3, s.of("moisture")},
		{"heat_loss_fraction", "heat loss", "", "of the charcoal's lower heating value", 3, st.Loss},
		{"bed_exit_c", "bed's exit", "exit", "degC", 0, st.BedExit},
		{"oxidation_c", "fire at the nozzle", "fire", "degC", 0, st.Oxidation},
		{"co_percent_dry", "CO", "CO", "% dry", 2, 100 * d[gas.CO]},
		{"h2_percent_dry", "H2", "H2", "% dry", 2, 100 * d[gas.H2]},
		{"co2_percent_dry", "CO2", "CO2", "% dry", 2, 100 * d[gas.CO2]},
		{"ch4_percent_dry", "CH4", "CH4", "% dry", 3, 100 * d[gas.CH4]},
		{"n2_percent_dry", "N2 (argon is the rest)", "N2", "% dry", 2, 100 * d[gas.N2]},
		{"h2o_percent_wet", "H2O", "H2O", "% wet", 2, 100 * st.Wet[gas.H2O]},
		{"lhv_mj_per_nm3", "gas, lower heating value", "heat", "MJ/Nm3", 3, st.HeatDry / 1e6},
		{"yield_nm3_per_kg", "gas of a kg of charcoal", "yield", "Nm3/kg", 3, st.YieldDry},
		{"cold_gas_efficiency_percent", "cold gas efficiency", "eff.", "%", 1, 100 * st.ColdGasEfficiency},
		{"air_per_gas", "air that the gas needs", "air", "Nm3/Nm3", 3, st.AirNeedDry},
		{"mixture_kj_per_nm3", "mixture with that air", "mixture", "kJ/Nm3", 0, st.MixtureDry / 1e3},
	}, append([]string{ofHearth}, hearthWarnings(&st)...)}, nil
}

// ofHearth says what the numbers of a hearth are.
const ofHearth = "Fire: carbon burnt in the blast without loss, CO2 and steam splitting as far as they do there. " +
	"Heating value, yield, air and mixture are of dry gas and dry air; Nm3 at 0 degC and 101.325 kPa."

// hearthWarnings say where they are a best case.
func hearthWarnings(st *hearth.State) []string {
	var notes []string
	switch {
	case st.BedExit < 700:
		notes = append(notes, "WARNING: below 700 degC charcoal reacts too slowly to reach this equilibrium: real gas has less CO and H2 and more CO2. This is a best case.")
	case st.BedExit < 750:
		notes = append(notes, "WARNING: below 750 degC a real bed may not reach this equilibrium: take it as a best case.")
	}
	if st.Loss < 0 {
		notes = append(notes, "WARNING: to hold that temperature the bed needs heat from outside: its loss is below 0.")
	}
	return notes
}

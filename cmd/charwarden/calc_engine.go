package main

import (
	"errors"
	"slices"

	"charwarden/sensors/derive/engine"
)

var engineSheet = &sheet{
	name:    "engine",
	usage:   "--displacement cc [--rpm N] [--volumetric-efficiency E] [--indicated-efficiency E] [--manifold-pressure kPa] [--manifold-temp T] [flags of calc hearth]",
	does:    "What a four-stroke engine draws, burns and gives on that gas at full throttle, against itself on petrol.",
	heading: "Engine on charcoal gas",
	sample:  "rpm=2000..4000/9",
	knobs:   slices.Concat(engineKnobs, hearthKnobs),
	solve:   engineAnswer,
	panels: []panel{
		{"Power at the shaft", "kW", []trace{{"shaft_kw", 1}, {"petrol_kw", 1}}},
		{"Flows, wet", "Nm3/h", []trace{{"mixture_nm3_per_h", 1}, {"gas_nm3_per_h", 1}}},
		{"Charcoal as fired", "kg/h", []trace{{"charcoal_kg_per_h", 1}}},
		{"Of its power on petrol", "%", []trace{{"share_of_petrol", 100}}},
	},
}

// engineKnobs: the bounds are those of package engine, which checks them.
var engineKnobs = []knob{
	{flag: "displacement", key: "displacement_cc", name: "displacement", in: inCC, help: "of all cylinders, `cc`, 20 to 5000"},
	{flag: "rpm", key: "rpm", name: "speed", in: inRPM, value: "3600", help: "`rpm`, 300 to 8000"},
	{flag: "volumetric-efficiency", key: "volumetric_efficiency", name: "volumetric efficiency", in: inFraction, value: "0.8", help: "of the displacement at the manifold's state, `fraction`, 0.3 to 1.2 (FAO Forestry Paper 72: 0.8)"},
	{flag: "indicated-efficiency", key: "indicated_efficiency", name: "indicated efficiency", in: inFraction, value: "0.3", help: "of the gas's heat, before friction, `fraction`, 0.1 to 0.5"},
	{flag: "manifold-pressure", key: "manifold_pressure_kpa", name: "manifold pressure", in: inKPa, help: "absolute, on gas, `kPa`, 20 to 120 (default 95 at 101.325 of --pressure, and in proportion)"},
	{flag: "manifold-temp", key: "manifold_temp_c", name: "manifold temperature", in: inDegC, value: "40", help: "on gas, `degC`, -20 to 150"},
}

func engineAnswer(s *settings) (outcome, error) {
	if err := s.need("displacement"); err != nil {
		return outcome{}, err
	}
	st, err := hearthOf(s)
	if err != nil {
		return outcome{}, err
	}
	spec := engine.Default().Drawing(s.of("pressure"), 0)
	spec.Displacement, spec.ManifoldTemp = s.of("displacement"), s.of("manifold-temp")
	spec.VolumetricEfficiency, spec.IndicatedEfficiency = s.of("volumetric-efficiency"), s.of("indicated-efficiency")
	if s.has("manifold-pressure") {
		spec.ManifoldPressure = s.of("manifold-pressure")
	}
	r, err := engine.Run(spec, s.of("rpm"), engine.From(&st))
	var out *engine.RangeError
	if errors.As(err, &out) {
		if k := knobOf(engineKnobs, out.Input); k != nil {
			err = k.outside(out.Value, out.Low, out.High)
		}
	}
	if err != nil {
		return outcome{}, err
	}
	notes := []string{"At full throttle, with just the air that the gas needs. Friction is that of larger engines (Heywood 1988): a small one loses rather more."}
	if r.Shaft < 0 {
		notes = append(notes, "WARNING: below 0 kW the engine cannot keep that speed.")
	}
	return outcome{cells{
		{"mixture_nm3_per_h", "mixture of gas and air", "mixture", "Nm3/h", 2, r.MixtureFlow},
		{"gas_nm3_per_h", "gas, wet", "gas", "Nm3/h", 2, r.GasFlow},
		{"charcoal_kg_per_h", "charcoal as fired", "charcoal", "kg/h", 3, r.CharcoalFlow},
		{"shaft_kw", "at the shaft", "shaft", "kW", 3, r.Shaft / 1e3},
		{"petrol_kw", "the same engine on petrol", "petrol", "kW", 3, r.Petrol / 1e3},
		{"share_of_petrol", "of its power on petrol", "share", "", 3, r.ShareOfPetrol},
	}, append(notes, hearthWarnings(&st)...)}, nil
}

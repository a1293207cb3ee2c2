package main

import (
	"math"

	"charwarden/sensors/derive/flow"
	"charwarden/sensors/derive/gas"
)

var nozzleSheet = &sheet{
	name:    "nozzle",
	usage:   "(--bore mm [--discharge C] | --point-flow Nm3/h --point-suction Pa [--bore mm | --discharge C]) [--flow Nm3/h | --suction Pa] [--return R] [--moisture W] [--loss Q] [--air-temp T] [--exhaust-temp T] [--pressure kPa]",
	does:    "The suction that a nozzle takes at a flow of gas, or the flow at a suction; and what nozzle a measured point is.",
	heading: "Nozzle",
	sample:  "flow=2..12/11",
	knobs: []knob{
		{flag: "bore", key: "bore_mm", name: "bore", in: inMM, low: 1e-3, high: 0.2, help: "of the nozzle, `mm`, 1 to 200; n equal ones count as one of bore times root n"},
		{flag: "discharge", key: "discharge", name: "discharge", in: inFraction, low: 0.4, high: 1, help: "what it passes over what an ideal one would, a `fraction`, 0.4 to 1: 0.61 with a sharp edge, 0.8 for a short tube (default 0.8)"},
		{flag: "point-flow", key: "point_flow_nm3_per_h", name: "measured flow", in: inNm3h, low: 0.1, high: 1000, help: "gas that was measured, `Nm3/h` wet: from a weighed run, or calc fuel"},
		{flag: "point-suction", key: "point_suction_pa", name: "suction at it", in: inPa, low: 1, high: 10e3, help: "and the suction at that time, `Pa`"},
		{flag: "flow", key: "gas_nm3_per_h", name: "gas flow (wet)", in: inNm3h, low: 0, high: 1000, help: "gas that the hearth makes, `Nm3/h` wet: gives the suction"},
		{flag: "suction", key: "suction_pa", name: "suction", in: inPa, low: 0, high: 10e3, help: "at the reactor, `Pa` below air: gives the flow"},
		*knobOf(hearthKnobs, "return"), *knobOf(hearthKnobs, "moisture"), *knobOf(hearthKnobs, "loss"),
		*knobOf(hearthKnobs, "air-temp"), *knobOf(hearthKnobs, "exhaust-temp"), *knobOf(hearthKnobs, "pressure"),
	},
	solve: nozzleAnswer,
	panels: []panel{
		{"Suction", "Pa", []trace{{"suction_pa", 1}}},
		{"Flow", "Nm3/h", []trace{{"blast_nm3_per_h", 1}, {"gas_nm3_per_h", 1}}},
		{"Velocity of the jet", "m/s", []trace{{"jet_m_per_s", 1}}},
	},
	draw: nozzleFigure,
}

// shortTube is the discharge where nobody says better.
const shortTube = 0.8

func nozzleAnswer(s *settings) (outcome, error) {
	in := hearthInput(s)
	st, err := solveHearth(in)
	if err != nil {
		return outcome{}, err
	}
	blast := flow.Fluid{Temp: (1-in.Return)*in.AirTemp + in.Return*in.ExhaustTemp, Pressure: in.Pressure}
	for i := range blast.Gas {
		blast.Gas[i] = (1-in.Return)*gas.DryAir[i] + in.Return*st.Exhaust[i]
	}
	perBlast := st.YieldWet / st.Blast // Nm3 of gas
	n, err := nozzleOf(s, &blast, perBlast)
	if err != nil {
		return outcome{}, err
	}
	var q, suction float64
	switch {
	case s.has("flow") && s.has("suction"):
		return outcome{}, &flagError{"flow", "and --suction cannot both be set: one follows from the other (a measured pair is --point-flow and --point-suction)"}
	case s.has("suction"):
		suction = s.of("suction")
		q = n.Flow(&blast, suction) * perBlast
	case s.has("flow"), s.has("point-flow"):
		if q = s.of("flow"); !s.has("flow") {
			q = s.of("point-flow")
		}
		suction = n.Drop(&blast, q/perBlast)
	default:
		return outcome{}, &flagError{"flow", "is missing: give --flow or --suction"}
	}
	jet := math.Sqrt(2 * suction / blast.Gas.Density(blast.Pressure, blast.Temp+gas.ZeroC))
	notes := []string{"Without the bed: sieved charcoal adds a few Pa to that suction, fines add hundreds."}
	if suction > 0.02*in.Pressure {
		notes = append(notes, "WARNING: above 2 % of the air's pressure the air expands in the nozzle: the flow is less than this.")
	}
	return outcome{cells{
		{"gas_nm3_per_h", "gas flow (wet)", "gas", "Nm3/h", 2, q},
		{"suction_pa", "suction", "suction", "Pa", 1, suction},
		{"blast_nm3_per_h", "blast through the nozzle", "blast", "Nm3/h", 2, q / perBlast},
		{"charcoal_kg_per_h", "charcoal as fired", "charcoal", "kg/h", 3, q / st.YieldWet},
		{"velocity_m_per_s", "mean velocity in the bore", "mean", "m/s", 1, n.Discharge * jet},
		{"jet_m_per_s", "velocity of the jet", "jet", "m/s", 1, jet},
		{"bore_mm", "bore", "bore", "mm", 2, 1e3 * n.Bore},
		{"discharge", "discharge", "disch.", "", 3, n.Discharge},
	}, notes}, nil
}

// nozzleOf is the nozzle by its bore, or by the gas that a suction drew through it.
func nozzleOf(s *settings, blast *flow.Fluid, perBlast float64) (flow.Nozzle, error) {
	n := flow.Nozzle{Bore: s.of("bore"), Discharge: shortTube}
	if s.has("discharge") {
		n.Discharge = s.of("discharge")
	}
	if !s.has("point-flow") && !s.has("point-suction") {
		if !s.has("bore") {
			return n, &flagError{"bore", "is missing: give --bore, or a measured --point-flow and --point-suction"}
		}
		return n, nil
	}
	if err := s.need("point-flow", "point-suction"); err != nil {
		return n, err
	}
	if s.has("bore") && s.has("discharge") {
		return n, &flagError{"discharge", "and --bore cannot both be set with a measured point: one follows from the other"}
	}
	ideal := flow.Calibrated(blast, s.of("point-flow")/perBlast, s.of("point-suction")) // its discharge is 1
	if s.has("bore") {
		n.Discharge = ideal.Bore * ideal.Bore / (n.Bore * n.Bore)
		if n.Discharge > 1 {
			return n, &flagError{"bore", inMM.text(n.Bore) + ": is too narrow for that point: an ideal one has " + inMM.text(ideal.Bore)}
		}
		return n, nil
	}
	n.Bore = ideal.Bore / math.Sqrt(n.Discharge)
	return n, nil
}

// nozzleFigure is the suction over the flow.
func nozzleFigure(s *sheet, set *settings, a *outcome) (*chart, error) {
	q := a.cells.find("gas_nm3_per_h").value
	along := set.with("flow", q)
	delete(along.number, "suction")
	return s.along(along, "flow", 0, 1.5*q)
}

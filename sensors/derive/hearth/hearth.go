// Package hearth reckons the gas that a bed of charcoal makes from its blast:
// CO, CO2, H2, H2O, CH4, N2 and Ar in equilibrium over carbon in excess, with
// exhaust that is led back, at the temperature at which the heat balance
// closes. It knows no kinetics and no tar: the gas is a best case below about
// 750 degC at the bed's exit.
package hearth

import "charwarden/sensors/derive/gas"

// Fuel is a charcoal, by dry mass.
type Fuel struct {
	Carbon, Hydrogen, Oxygen, Ash float64 // fractions 0..1; the rest counts as inert
	HHV                           float64 // higher heating value, J/kg dry; 0: by Channiwala and Parikh, Fuel 81 (2002) 1051 (from memory)
}

// Input is a state of the hearth that is asked for. The sensible box, within
// which there is always an answer, is in brackets.
type Input struct {
	Fuel        Fuel    // C 0.75-0.97, H 0-0.04, O 0-0.15
	Moisture    float64 // kg water per kg charcoal as fired [0-0.25]
	Return      float64 // moles of exhaust per mole of blast (moist air + exhaust) [0-0.4]
	Loss        float64 // heat lost, as a share of the charcoal's LHV [0-0.25]; not used if Imposed
	AirTemp     float64 // of the air into the nozzle, degC [-20..300]
	Humidity    float64 // relative at 25 degC whatever AirTemp is, 0..1
	ExhaustTemp float64 // of the exhaust that is led back, degC
	Lambda      float64 // the engine's air over its need, 1 = just enough
	Pressure    float64 // Pa absolute [70e3-110e3]
	Imposed     bool    // the bed's exit is BedExit, and Loss follows
	BedExit     float64 // degC, with Imposed
}

// Default is a common charcoal (an assumption: C 0.90, H 0.025, O 0.05, ash
// 0.025) with 5 % moisture, 10 % loss, no return, air and pressure of a mild day.
func Default() Input {
	return Input{
		Fuel: Fuel{Carbon: 0.90, Hydrogen: 0.025, Oxygen: 0.05, Ash: 0.025}, Moisture: 0.05, Loss: 0.10,
		AirTemp: 25, Humidity: 0.60, ExhaustTemp: 150, Lambda: 1, Pressure: gas.Atm,
	}
}

// State is what the hearth does. Per kg is per kg of charcoal as fired.
type State struct {
	BedExit       float64 // degC where the gas leaves the reduction zone
	Oxidation     float64 // degC, adiabatic, carbon to CO2 with dissociation of CO2 and H2O: the fire before the nozzle
	OxidationFuel float64 // degC, adiabatic, the whole wet charcoal to CO2 and H2O, no dissociation

	Wet, Dry gas.Mix // mole fractions

	HeatDry, HeatWet       float64 // lower heating value, J/Nm3
	YieldDry, YieldWet     float64 // Nm3/kg
	AirNeedDry             float64 // Nm3 dry air per Nm3 dry gas
	AirNeedWet             float64 // Nm3 moist air per Nm3 wet gas
	MixtureDry, MixtureWet float64 // heat of gas with that air, J/Nm3
	ColdGasEfficiency      float64 // 0..1, of the charcoal's LHV
	LHV                    float64 // of the charcoal as fired, J/kg
	Loss                   float64 // share of LHV; Input's, or what follows from Imposed: below 0 where no fire is as hot
	Blast, Air             float64 // Nm3/kg: into the nozzle, and the moist air in it
	ExhaustTotal           float64 // Nm3/kg wet, of the engine
	Exhaust                gas.Mix // mole fractions, wet
	Residual               float64 // largest relative error of the balances of C, H, O, N, Ar and energy
}

// RangeError is an input outside the sensible box or one that has no answer.
type RangeError struct {
	Input string  // name of the flag or key: "return", "moisture", "air-temp" ...
	Value float64 // in its unit above
	Low   float64
	High  float64
	Why   string // "" if Value is just out of Low..High
}

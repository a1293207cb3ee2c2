package sim

import (
	"math"

	"charwarden/sensors/derive/gas"
)

// Of every gas and engine.
const (
	stefan   = 5.670374e-8 // W/m2/K4, CODATA 2018
	molAir   = 28.9652e-3  // kg/mol of dry air, U.S. Standard Atmosphere 1976
	gravity  = 9.80665     // m/s2
	burnCO2  = 393.5e3     // J/mol C + O2 = CO2
	burnCO   = 283.0e3     // J/mol CO
	burnH2   = 241.8e3     // J/mol H2, to steam
	boudoir  = 172.5e3     // J/mol C + CO2 = 2 CO, taken up
	waterGas = 131.3e3     // J/mol C + H2O = CO + H2, taken up
	boil     = 44.0e3      // J/mol water
	gasHeat  = 31.5        // J/mol/K, mean of hot producer gas
)

// Of this rig: invented.
const (
	flow0      = 0.1115 // mol/s of gas that other constants are given at: 9 Nm3/h
	blast0     = 0.0925 // mol/s of blast that makes it
	bore       = 11.1e-3
	discharge  = 0.80    // of the nozzle
	bed0       = 40.0    // Pa that bed, grate and outlet take at flow0
	blowerMol  = 0.072   // mol/s that the blower draws
	hearthCap  = 1200.0  // J/K of glowing bed and lining
	nearCap    = 800.0   // J/K of the shell beside the nozzle
	farCap     = 1500.0  // J/K
	nearArea   = 0.042   // m2 that lose heat to the air
	farArea    = 0.050   // m2
	nearView   = 0.00327 // m2 through which the fire's glow reaches the shell at flow0
	farPath    = 1.0     // W/K from the bed to the far shell
	cubic      = 420e-6  // m3 of the engine
	inertia    = 0.30    // kg m2 of engine and pump
	indicated  = 0.350   // work on the piston in the mixture's heat
	valve0     = 0.0036  // mol/s per root of a Pa: where the mixer's valve usually stands
	filter0    = 1.9e9   // 1/m3: drop = flow * viscosity * (filter0 + ...)
	perDust    = 1.9e11  // 1/m3/kg
	perWater   = 1.5e11  // 1/m3/kg
	dustUsual  = 0.8e-3  // kg per Nm3 of gas
	dustBefore = 2e-3    // kg, from the runs since the filter was cleaned
	shaken     = 0.4     // of the loose dust that stays when the filter is shaken
	breathing  = 3.0     // m3 of air around the operator
	lidFill    = 60.0    // s that the lid is off for a refuelling
)

// jet is what an opening lets in at a pressure difference, mol/s: the orifice
// law, mass flow = Cd A sqrt(2 rho dp). area is Cd A in m2, dp in Pa.
func (m *machine) jet(area, dp float64) float64 {
	return area * math.Sqrt(2*m.density()*max(0, dp)) / molAir
}

// density of the air around, kg/m3.
func (m *machine) density() float64 {
	return m.pressure() * molAir / (gas.R * (m.air() + gas.ZeroC))
}

// loss of a vertical shell to the air, W: rolled steel of emissivity 0.85 and
// 10 W/m2/K of draught.
func loss(shell, air, area float64) float64 {
	return area * (0.85*stefan*(fourth(shell)-fourth(air)) + 10*(shell-air))
}

func fourth(degC float64) float64 {
	k := degC + gas.ZeroC
	return k * k * k * k
}

// saturation pressure of water, Pa (Buck 1996).
func saturation(degC float64) float64 {
	return 611.21 * math.Exp((18.678-degC/234.5)*degC/(257.14+degC))
}

func lag(to, from, seconds, dt float64) float64 { return (to - from) * dt / seconds }

// above is 0 far below a middle and 1 far above it.
func above(x, middle, width float64) float64 { return 1 / (1 + math.Exp((middle-x)/width)) }

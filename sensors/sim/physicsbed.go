package sim

import (
	"math"

	"charwarden/sensors/derive/gas"
)

// The charcoal, dry: carbon 90 %, hydrogen 2.5 %, oxygen 5 % by mass, the rest
// ash. Invented; the moles per mole of carbon follow.
const (
	carbonMass = 0.90
	molC       = 12.011e-3
	fuelH2     = 0.025 / 2.016e-3 * molC / carbonMass
	fuelO      = 0.05 / 15.999e-3 * molC / carbonMass
	fuelCH4    = 0.006 // comes off as methane
	dampIn     = 0.5   // of the moisture passes the hot bed; the rest dries off above it
)

// react is what a mole of blast makes of the charcoal, in moles, and the carbon
// that it takes up, so that C, H, O and N are kept. The O2 that burns goes to
// CO2 first; of all CO2 and steam that meet the hot bed a share is reduced. The
// charcoal's own hydrogen and oxygen come off as H2, CH4 and CO.
func react(blast *gas.Mix, burnt, reduced, damp float64) (made gas.Mix, carbon float64) {
	o2 := blast[gas.O2] * burnt
	if o2 == 0 {
		return *blast, 0 // nothing glows
	}
	co2 := blast[gas.CO2] + o2
	own := fuelO + fuelCH4 + reduced*dampIn*damp
	carbon = (o2 + reduced*(co2+blast[gas.H2O])) / (1 - own)
	split := reduced * (blast[gas.H2O] + dampIn*damp*carbon)
	made = gas.Mix{
		gas.CO:  2*reduced*co2 + split + fuelO*carbon,
		gas.CO2: co2 * (1 - reduced),
		gas.H2:  split + (fuelH2-2*fuelCH4)*carbon,
		gas.H2O: blast[gas.H2O] + damp*carbon - split,
		gas.CH4: fuelCH4 * carbon,
		gas.N2:  blast[gas.N2], gas.Ar: blast[gas.Ar],
		gas.O2: blast[gas.O2] - o2,
	}
	return made, carbon
}

// afterburn lets air into the finished gas, in moles per mole of blast: its O2
// takes CO and H2 alike, as far as the gas is hot enough. It returns the heat.
func afterburn(made, moist *gas.Mix, air, hot float64) float64 {
	for i, x := range moist {
		made[i] += air * x
	}
	fuel := made[gas.CO] + made[gas.H2]
	if fuel <= 0 {
		return 0
	}
	part := hot * min(1, 2*made[gas.O2]/fuel)
	co, h2 := part*made[gas.CO], part*made[gas.H2]
	made[gas.CO] -= co
	made[gas.H2] -= h2
	made[gas.CO2] += co
	made[gas.H2O] += h2
	made[gas.O2] -= (co + h2) / 2
	return co*burnCO + h2*burnH2
}

// moist is the air around, mole fractions.
func (m *machine) moist() gas.Mix {
	mix := gas.DryAir
	steam := m.steam()
	for i := range mix {
		mix[i] *= 1 - steam
	}
	mix[gas.H2O] = steam
	return mix
}

// burn moves hearth, walls, charcoal and the gas's strength.
//
// The share of CO2 and steam that the bed reduces is a law of the reaction's
// speed, not of equilibrium: half at 700 degC, nearly none below 550.
func (m *machine) burn(dt float64) {
	air, moist := m.air(), m.moist()
	drawn, burnt := m.gas, m.fire
	if drawn == 0 {
		drawn = m.draught()
		burnt *= above(m.hearth, 250, 30) // smoulders on as long as it is hot
	}
	m.back = 0
	if m.engineGas >= 0.3*m.gas && m.gas > 0 {
		m.back = 0.30 * m.set[Return]
	}
	in := m.inlets()
	blast := moist
	back := m.back * in.nozzle / (in.nozzle + in.lid)
	for i := range blast {
		blast[i] += back * (m.exhaust[i] - blast[i])
	}
	reduced := above(m.hearth, 700, 45) * m.feed() * (1 - 0.05*m.wrong.void)
	damp := molC / carbonMass / 18.015e-3 * m.moisture / (1 - m.moisture) // mol water per mol carbon
	lidShare := in.lid / (in.nozzle + in.lid)
	reduced *= 1 - 0.35*lidShare // burns near the top
	made, carbon := react(&blast, burnt*m.feed()*(1-m.wrong.slip()), reduced, damp)
	heat := (blast[gas.O2]-made[gas.O2])*burnCO2 - boudoir*reduced*(blast[gas.CO2]+blast[gas.O2]-made[gas.O2]) -
		waterGas*max(0, blast[gas.H2O]+damp*carbon-made[gas.H2O]) - boil*damp*carbon
	side := 0.0
	if in.hot > 0 || m.wrong.void > 0 {
		side = afterburn(&made, &moist, in.hot/(in.nozzle+in.lid), above(m.hearth, 550, 40))
	}
	flow := drawn / made.Sum() // mol/s of blast
	heat, side, carbon = heat*flow, side*flow, carbon*flow
	if drawn > 0 {
		m.made = made.Fractions()
	}
	m.charcoal = max(0, m.charcoal-carbon*molC/carbonMass/(1-m.moisture)*dt)
	m.kindle(dt)
	m.warm(dt, warmth{drawn: drawn, nozzle: flow * (1 - lidShare), heat: heat, side: side, lid: lidShare})
	m.suck(dt, flow, in)
	line := air
	if m.back > 0 {
		line += 135 * (1 - math.Exp(-m.back*m.gas/flow0/0.06))
	}
	m.returnLine += lag(line, m.returnLine, 40, dt)
}

// kindle spreads the fire through the bed, or lets it die.
func (m *machine) kindle(dt float64) {
	if m.set[Fire] > 0 && m.gas > 0 {
		m.fire += (1 - m.fire) * dt / 80 * m.gas / flow0
	}
	if m.charcoal <= 0 {
		m.fire -= m.fire * dt / 60
	}
	if m.gas == 0 && m.hearth < 200 { // the last embers
		m.fire -= m.fire * dt / 1200
	}
}

// warmth is what burn knows of flows and heats, mol/s and W.
type warmth struct {
	drawn, nozzle float64 // gas, blast through the nozzle
	heat, side    float64 // of the bed, of air that burns in the finished gas
	lid           float64 // share of the blast that comes from above
}

// warm moves the temperatures of hearth, walls and the gas that leaves.
func (m *machine) warm(dt float64, w warmth) {
	air := m.air()
	// The fire in front of the nozzle is hotter than the bed, less so with
	// exhaust in the blast: adiabatic with dissociation 2012 degC without, about
	// 14 degC less for each percent (computed from NASA-9 data). Besides, charcoal
	// burns as fast as O2 comes to it, which exhaust thins.
	part := w.nozzle / blast0
	core := m.hearth
	if part > 0 {
		core += 0.46 * m.fire * m.feed() * (1 - m.back) * max(0, 2012-1420*m.back-550*m.moisture-m.hearth) * math.Sqrt(part) * (1 + 0.03*m.bed.out)
	}
	view := nearView * m.glow * m.wrong.near() * (0.15 + 0.85*part)
	toNear := view * stefan * (fourth(core) - fourth(m.near))
	toFar := farPath * m.wrong.far() * (m.hearth - m.far)
	const sideBed, sideFar = 0.25, 0.15 // of the side's heat; the rest leaves with the gas
	heat := w.heat + sideBed*w.side - w.drawn*gasHeat*(m.hearth-air) + w.nozzle*m.back*gasHeat*(m.returnLine-air)
	m.hearth += (heat - toNear - toFar) / hearthCap * dt
	m.near += (toNear - loss(m.near, air, nearArea)) / nearCap * dt
	m.far += (toFar + sideFar*w.side - loss(m.far, air, farArea)) / farCap * dt

	// Gas gives its heat to the charcoal above; a low or hollow bed takes less.
	if m.gas > 1e-4 {
		column := (0.12 + 0.88*min(1, m.charcoal/1.2)) * (1 - 0.6*m.wrong.void) * (1 - 0.5*w.lid)
		top := m.hearth + (1-sideBed-sideFar)*w.side/(w.drawn*gasHeat)
		m.gasOut += lag(air+(top-air)*math.Exp(-0.98*column*math.Pow(m.gas/flow0, -0.3)), m.gasOut, 45, dt)
	} else {
		m.gasOut += lag(air+0.5*(m.far-air), m.gasOut, 200, dt)
	}
}

// feed fades to 0 as the last charcoal goes.
func (m *machine) feed() float64 { return min(1, m.charcoal/0.05) }

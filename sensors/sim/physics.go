package sim

import "math"

// CO at the operator: m3/s at the first moment of a puff, and how it ends.
const (
	puffStart   = 3.6e-5
	puffStop    = 4.2e-5
	puffSeconds = 7.0
	exhaustCO   = 0.03  // of the exhaust, a little rich
	exhaustPart = 0.005 // of the exhaust that the wind brings round
)

// turn moves the engine: governor, torque balance and the gas it draws.
//
// Friction is 0.97 + 0.15 n + 0.05 n2 bar mean pressure, n in 1000 rpm (after
// Heywood, Internal Combustion Engine Fundamentals, 1988, from memory).
func (m *machine) turn(dt float64) {
	n := m.rpm / 1000
	omega := m.rpm * math.Pi / 30
	friction := (0.97 + 0.15*n + 0.05*n*n) * 1e5 * cubic / (4 * math.Pi) // N m
	want := 0.55 + (3040-m.rpm)/330                                      // mechanical governor with droop
	if m.set[Engine] == 0 {
		want = 0 // the operator closes it
	}
	m.throttle += (max(0.05, min(1, want)) - m.throttle) * min(1, dt/0.4)

	// A four-stroke draws its volume every second turn.
	intake := m.pressure() - m.suction - m.drop
	mix := 0.8 * m.throttle * max(0, intake) * cubic / (gasR * (m.filterOut + 10 + zeroC)) * m.rpm / 120
	gas := mix / 1.95
	if m.set[Seal] > 0 {
		gas = 0
	}
	torque := -friction
	if m.set[Engine] > 0 && m.strength > 0.12 && gas > 0 && omega > 1 {
		heat := 2480e3 * litreN * math.Sqrt(m.strength/0.30) // J per mol of mixture
		torque += 0.30 * mix * min(heat, 2700e3*litreN) / omega
	}
	if m.crank > 0 {
		m.crank -= dt
		torque += max(0, 25-omega*0.35)
	}
	share := m.rpm / 3000
	torque -= m.set[Load] * (1 + 0.03*m.hunt.out) / 314.16 * share * share
	omega = max(0, omega+torque/inertia*dt)
	m.rpm = omega * 30 / math.Pi

	m.engineGas = gas
	m.gas = gas
	if m.set[Seal] == 0 {
		m.gas += blowerMol * max(m.set[Blower], m.draft)
	}
}

// burn moves hearth, walls, charcoal and the gas's strength.
func (m *machine) burn(dt float64) {
	air := m.air()
	back := 0.30 * m.set[Return] // exhaust in the blast, by moles
	if m.engineGas < 0.3*m.gas || m.gas == 0 {
		back = 0
	}
	reduced := 1 / (1 + math.Exp((700-m.hearth)/45)) // share of CO2 that becomes CO in the bed
	// O2 makes no more moles as CO2, twice as many as CO; exhaust brings 0.16
	// CO2 and 0.08 H2O.
	blast := m.gas / (1 + (oxygen*(1-back)+0.24*back)*reduced*m.fire)
	o2 := blast * (1 - back) * oxygen * m.fire * m.feed()
	taken := blast * back * m.feed() * reduced
	carbon := o2*(1+reduced) + taken*0.24 // mol/s
	water := carbon * 12.011 / 0.9 / 18.015 * m.moisture / (1 - m.moisture)

	heat := o2*(burnCO2-boudoir*reduced) - taken*(0.16*boudoir+0.08*waterGas) -
		water*(waterGas*reduced+boil) - m.gas*gasHeat*(m.hearth-air)
	if m.gas > 0 {
		m.strength = (2*o2*reduced + 2*0.24*taken + water*reduced) / m.gas
		m.steam = 0.008 + water*(1-0.5*reduced)/m.gas // half of it dries off above the hearth
	}
	if m.set[Fire] > 0 && m.gas > 0 {
		m.fire += (1 - m.fire) * dt / 80 * m.gas / flow0
	}
	if m.charcoal <= 0 {
		m.fire -= m.fire * dt / 60
	}

	// The fire in front of the nozzle is hotter than the bed, less so with
	// exhaust in the blast: adiabatic with dissociation 2012 degC without, about
	// 14 degC less for each percent (computed from NASA-9 data).
	part := m.gas / flow0
	core := m.hearth
	if part > 0 {
		core += 0.35 * m.fire * m.feed() * max(0, 2012-1420*back-550*m.moisture-m.hearth) * math.Sqrt(part) * (1 + 0.04*m.bed.out)
	}
	view := nearView * m.glow * (0.15 + 0.85*part)
	toNear := view * stefan * (fourth(core) - fourth(m.near))
	toFar := farPath * (m.hearth - m.far)
	m.hearth += (heat - toNear - toFar) / hearthCap * dt
	m.near += (toNear - loss(m.near, air, nearArea)) / nearCap * dt
	m.far += (toFar - loss(m.far, air, farArea)) / farCap * dt

	m.charcoal = max(0, m.charcoal-carbon*12.011e-3/0.9/(1-m.moisture)*dt)
	// Gas gives its heat to the charcoal above; a low bed takes less of it.
	column := 0.12 + 0.88*min(1, m.charcoal/1.2)
	if m.gas > 1e-4 {
		m.gasOut += lag(air+(m.hearth-air)*math.Exp(-0.98*column*math.Pow(part, -0.3)), m.gasOut, 45, dt)
	} else {
		m.gasOut += lag(air+0.5*(m.far-air), m.gasOut, 200, dt)
	}
	nearPart := blast * (1 + 0.05*m.bed.out) / (flow0 / 1.2)
	m.suction = suction0 * m.nozzle * nearPart * nearPart * 101325 / m.pressure() * (air + zeroC) / 291
	if m.gas == 0 && m.set[Seal] > 0 {
		m.suction = -0.04 * max(0, m.hearth-air) * m.fire // the bed goes on making gas
	}
	line := air
	if back > 0 {
		line += 135 * (1 - math.Exp(-back*part/0.06))
	}
	m.returnLine += lag(line, m.returnLine, 50, dt)
}

// feed fades to 0 as the last charcoal goes.
func (m *machine) feed() float64 { return min(1, m.charcoal/0.05) }

// clean moves cooler and filter.
func (m *machine) clean(dt float64) {
	air := m.air()
	if m.engineGas < 1e-4 {
		m.filterIn += lag(air, m.filterIn, 400, dt)
		m.filterOut += lag(air, m.filterOut, 600, dt)
		m.drop = 0
		return
	}
	part := m.engineGas / flow0
	m.filterIn += lag(air+(m.gasOut-air)*math.Exp(-2.5*math.Pow(part, -0.35)), m.filterIn, 60, dt)
	m.filterOut += lag(air+0.75*(m.filterIn-air), m.filterOut, 150, dt)

	caught := dustLoad * m.dusty
	if m.tar {
		caught *= 50
	}
	m.dust += caught * m.engineGas * litreN * dt
	// Steam above saturation settles in the medium, dry gas takes it up again.
	m.water = max(0, m.water+m.engineGas*(m.steam-saturation(m.filterIn)/m.pressure())*0.018*dt)

	kelvin := m.filterIn + zeroC
	flow := m.engineGas * gasR * kelvin / m.pressure() // m3/s
	viscosity := 17.5e-6 * math.Pow(kelvin/293, 0.7)   // Pa s
	resistance := filter0 + perDust*m.dust + perWater*m.water
	if m.hole {
		resistance *= 0.3
	}
	m.drop = flow * viscosity * resistance * (1 + 0.01*m.hunt.out)
}

// drift moves the air around the operator: a box that the wind flushes.
func (m *machine) drift(dt float64) {
	m.puff -= m.puff * dt / puffSeconds
	exhaust := 0.0
	if m.rpm > 500 && m.set[Engine] > 0 {
		exhaust = 1.9 * m.engineGas * litreN * exhaustCO // m3/s of CO
	}
	source := m.puff + exhaust*exhaustPart*(1+0.8*m.gusts.out)
	if m.set[Seal] > 0 {
		source += 1.2e-6 * max(0, -m.suction) / 20
	}
	if m.leaking && exhaust > 0 {
		m.leak += dt
		source += min(exhaust, 2.7e-7*m.leak) // the joint opens further
	}
	wind := 2.5 * (1 - 0.35*m.gusts.out) // m/s
	flush := 10 * 2.5 / wind             // s
	m.co += (source*1e6/breathing - m.co/flush) * dt
}

// loss of a vertical shell to the air, W: rolled steel of emissivity 0.85 and
// 10 W/m2/K of draught.
func loss(shell, air, area float64) float64 {
	return area * (0.85*stefan*(fourth(shell)-fourth(air)) + 10*(shell-air))
}

func fourth(degC float64) float64 {
	k := degC + zeroC
	return k * k * k * k
}

// saturation pressure of water, Pa (Buck 1996).
func saturation(degC float64) float64 {
	return 611.21 * math.Exp((18.678-degC/234.5)*degC/(257.14+degC))
}

func lag(to, from, seconds, dt float64) float64 { return (to - from) * dt / seconds }

package sim

import (
	"math"

	"charwarden/sensors/derive/gas"
)

// clean moves cooler and filter.
func (m *machine) clean(dt float64) {
	air := m.air()
	smoulder := m.smoulder(dt)
	if m.engineGas < 1e-4 {
		m.filterIn += lag(air, m.filterIn, 400, dt)
		m.filterOut += lag(air+smoulder/standLoss, m.filterOut, 600, dt)
		m.drop = 0
		return
	}
	part := m.engineGas / flow0
	own := max(0, 1-m.leakBefore/m.engineGas) // the rest is air that leaked in behind the cooler
	cooled := (m.gasOut - air) * math.Exp(-2.5*m.wrong.cooler*math.Pow(part, -0.35))
	m.filterIn += lag(air+own*cooled, m.filterIn, 60, dt)
	m.filterOut += lag(air+0.75*(m.filterIn-air)+smoulder/(m.engineGas*gasHeat), m.filterOut, 150, dt)

	caught := m.dustLoad * m.dusty * own * m.engineGas * gas.Volume * dt
	if m.wrong.tar {
		caught *= 50
	}
	m.dust += caught
	if m.wrong.sticky {
		m.wrong.glued += 6 * caught
	}
	// Steam above saturation settles in the medium, dry gas takes it up again.
	m.water = max(0, m.water+m.engineGas*(own*m.made[gas.H2O]-saturation(m.filterIn)/m.pressure())*0.018*dt)

	kelvin := m.filterIn + gas.ZeroC
	flow := m.engineGas * gas.R * kelvin / m.pressure() // m3/s
	viscosity := 17.5e-6 * math.Pow(kelvin/293, 0.7)    // Pa s
	m.drop = max(0, flow*viscosity*m.resistance()*(1+0.01*m.hunt.out)-m.wrong.pulse)
}

// resistance of the filter, 1/m3.
func (m *machine) resistance() float64 {
	r := filter0 + perDust*(m.dust+m.wrong.glued) + perWater*m.water
	if m.wrong.hole {
		r *= 0.3
	}
	return r * m.wrong.scorched()
}

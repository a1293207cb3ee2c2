package sim

import (
	"math"

	"charwarden/sensors/derive/gas"
)

// The operator's hand on the mixer's air, and how far the valve goes.
const (
	trimSeconds = 45.0
	valveLeast  = 0.4 * valve0
	valveMost   = 1.8 * valve0
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
	mix := 0.8 * m.throttle * max(0, intake) * cubic / (gas.R * (m.filterOut + 10 + gas.ZeroC)) * m.rpm / 120
	if m.set[Seal] > 0 {
		mix = 0
	}
	own := m.own()
	need := own*m.made.AirNeed(m.oxygen()) - (1 - own)
	ratio, lambda := m.mixer(need, dt)
	drawn := mix / (1 + ratio)
	m.exhale(mix, ratio, own, dt)

	torque := -friction
	if m.set[Engine] > 0 && own*(m.made[gas.CO]+m.made[gas.H2]) > 0.12 && mix > 0 && omega > 1 && m.wrong.miss <= 0 {
		heat := own * m.made.HeatingValue() * gas.Volume * drawn // W
		torque += indicated * heat * fit(lambda) / omega
	}
	if m.crank > 0 {
		m.crank -= dt
		torque += max(0, 25-omega*0.35)
	}
	share := m.rpm / 3000
	torque -= m.set[Load] * (1 + 0.03*m.hunt.out) / 314.16 * share * share
	omega = max(0, omega+torque/inertia*dt)
	m.rpm = omega * 30 / math.Pi

	m.leak(drawn)
	m.engineGas = drawn - m.leakAfter
	m.gas = drawn - m.leakAfter - m.leakBefore
	if m.set[Seal] == 0 {
		m.gas += blowerMol * max(m.set[Blower], m.wrong.draft)
	}
}

// own is the share of the gas at the mixer that the hearth made; the rest is
// air that leaked in.
func (m *machine) own() float64 {
	if drawn := m.engineGas + m.leakAfter; drawn > 0 {
		return max(0, 1-(m.leakBefore+m.leakAfter)/drawn)
	}
	return 1
}

// oxygen in the air around, mole fraction.
func (m *machine) oxygen() float64 { return gas.AirOxygen * (1 - m.steam()) }

// mixer is a valve for the engine's air beside the gas pipe: both see the same
// pressure behind them, so that the air goes with the root of what reactor and
// filter take. The operator trims it by ear towards the need. It returns the
// air per gas, and in its need.
func (m *machine) mixer(need, dt float64) (ratio, lambda float64) {
	need = max(0.05, need)
	drawn := m.engineGas + m.leakAfter
	pull := math.Sqrt(max(1, m.suction+m.drop))
	if m.set[Engine] == 0 || drawn < 1e-3 {
		return need, 1
	}
	seconds := trimSeconds
	if m.rpm < 2500 {
		seconds = 3 // by ear while the engine comes up
	}
	m.valve += lag(max(valveLeast, min(valveMost, need*drawn/pull)), m.valve, seconds, dt)
	lambda = max(0.5, min(3, m.valve*pull/drawn/need))
	return need * lambda, lambda
}

// fit is what the engine makes of a mixture that is not just right: a rich one
// lacks air, a lean one burns too slowly.
func fit(lambda float64) float64 {
	if lambda < 1 {
		return lambda
	}
	return max(0.1, 1-1.2*(lambda-1)*(lambda-1))
}

// exhale mixes what comes out of the engine into the exhaust pipe: the gas
// burnt as far as its air goes.
func (m *machine) exhale(mix, ratio, own, dt float64) {
	if mix == 0 {
		return
	}
	moist := m.moist()
	out := m.made
	for i := range out {
		out[i] = own*out[i] + (1-own+ratio)*moist[i]
	}
	burnt := 1.0
	if demand := 0.5*out[gas.CO] + 0.5*out[gas.H2] + 2*out[gas.CH4]; demand > out[gas.O2] {
		burnt = out[gas.O2] / demand
	}
	co, h2, ch4 := burnt*out[gas.CO], burnt*out[gas.H2], burnt*out[gas.CH4]
	out[gas.CO] -= co
	out[gas.H2] -= h2
	out[gas.CH4] -= ch4
	out[gas.O2] -= 0.5*co + 0.5*h2 + 2*ch4
	out[gas.CO2] += co + ch4
	out[gas.H2O] += h2 + 2*ch4
	sum := out.Sum()
	for i := range out {
		m.exhaust[i] += lag(out[i]/sum, m.exhaust[i], 3, dt)
	}
}

// leak is the air that the gas pipe takes in before and after the filter, by
// the orifice law and never more than the engine draws.
func (m *machine) leak(drawn float64) {
	const settle = 0.2 // of the way in a step: flow and suction wait for each other
	m.leakBefore += settle * (m.jet(m.wrong.before, m.suction) - m.leakBefore)
	m.leakAfter += settle * (m.jet(m.wrong.after, m.suction+m.drop) - m.leakAfter)
	if sum := m.leakBefore + m.leakAfter; sum > 0.95*drawn {
		m.leakBefore *= 0.95 * drawn / sum
		m.leakAfter *= 0.95 * drawn / sum
	}
}

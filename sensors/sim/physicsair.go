package sim

import (
	"math"

	"charwarden/sensors/derive/gas"
)

// Openings, Cd A in m2, and the chimney that a hot bed is. Invented.
const (
	lidArea     = 2.5e-3 // hopper lid off
	openArea    = 4.8e-5 // nozzle and gas outlet in series, when nothing is shut
	returnArea  = 4.5e-5 // return valve forgotten at the stop
	chimney     = 0.6    // m of hot gas that draw
	sealSeconds = 12     // s in which a shut rig's pressure goes with good seals
)

// inlets are the openings of the hearth under suction, Cd A in m2.
type inlets struct{ nozzle, lid, hot float64 }

func (m *machine) inlets() inlets {
	in := inlets{nozzle: discharge * math.Pi / 4 * bore * bore / math.Sqrt(m.nozzle) * m.wrong.nozzle * (1 - m.wrong.blocked()) * (1 + 0.12*m.wrong.void), hot: m.wrong.hotArea}
	if m.lid > 0 {
		in.lid = lidArea
	}
	return in
}

// suck moves the suction: all blast goes through nozzle, lid and leaks side by
// side by the orifice law; the bed takes its part behind them.
func (m *machine) suck(dt, blast float64, in inlets) {
	if m.gas == 0 {
		target := 0.0
		if m.set[Seal] > 0 && m.lid == 0 { // the bed goes on making gas, seals let it out
			target = -0.04 * max(0, m.hearth-m.air()) * m.fire * m.wrong.pressing() / m.leaky()
		}
		m.suction += lag(target, m.suction, sealSeconds/m.leaky(), dt)
		return
	}
	mass := m.blastMass() * blast * (1 + 0.05*m.bed.out)
	whole := in.nozzle + in.lid
	jet := mass / whole
	hot := (m.hearth + gas.ZeroC) / 1030
	part := m.gas / flow0
	m.suction = jet*jet/(2*m.density())*(1+m.back*(m.returnLine-m.air())/(m.air()+gas.ZeroC)) +
		bed0*m.wrong.bed*(1-0.8*m.wrong.void)*part*part*hot
	if m.wrong.pushes && m.engineGas == 0 {
		m.suction = -m.suction
	}
	m.suction -= m.wrong.pulse
}

// blastMass is kg per mole of blast.
func (m *machine) blastMass() float64 { return molAir + m.back*(m.exhaust.MolarMass()-molAir) }

// leaky is how much faster the shut rig leaks than with good seals.
func (m *machine) leaky() float64 { return 1 + m.standing()/1e-6/4 }

// standing is what stands open in a shut rig, Cd A in m2.
func (m *machine) standing() float64 {
	area := m.wrong.sealArea + m.wrong.hotArea
	if m.wrong.returnOpen {
		area += returnArea
	}
	if m.lid > 0 {
		area += 0.05 * lidArea // one opening breathes in and out at once
	}
	return area
}

// draught is the gas that a hot bed draws through a rig that stands still,
// mol/s: the orifice law with the lift of its chimney,
// dp = g h rho (1 - Tair/Tbed). It is nothing when all is shut, so that the
// rig cools by its shells alone; it is a little with a leak, and the fire that
// it feeds slows the cooling down or holds it where the shells lose as much.
func (m *machine) draught() float64 {
	area := openArea
	if m.set[Seal] > 0 {
		area = m.standing()
	}
	air, bed := m.air()+gas.ZeroC, m.hearth+gas.ZeroC
	m.seep = 0
	if area > 0 && bed > air {
		m.seep = m.jet(area, gravity*chimney*m.density()*(1-air/bed))
	}
	return m.seep
}

// CO at the operator: m3/s at the first moment of a puff, and how it ends.
const (
	puffStart   = 3.6e-5
	puffStop    = 4.2e-5
	puffLid     = 4.5e-5
	puffSeconds = 7.0
	exhaustCO   = 0.03  // of the exhaust, a little rich
	exhaustPart = 0.005 // of the exhaust that the wind brings round
	seepPart    = 0.25  // of what seeps out of a standing rig
)

// drift moves the air around the operator: a box that the wind flushes.
func (m *machine) drift(dt float64) {
	m.puff -= m.puff * dt / puffSeconds
	exhaust := 0.0
	if m.rpm > 500 && m.set[Engine] > 0 {
		exhaust = 1.9 * m.engineGas * gas.Volume * exhaustCO // m3/s of CO
	}
	source := m.puff + exhaust*exhaustPart*(1+0.8*m.gusts.out)
	if m.set[Seal] > 0 {
		source += 1.2e-6 * max(0, -m.suction) * m.leaky() / 20 * m.wrong.pressing() // what the bed makes gets out somewhere
	}
	if m.gas == 0 {
		source += m.seep * gas.Volume * m.made[gas.CO] * seepPart
	} else if m.suction < 0 { // pushed, not drawn
		source += m.jet(pushArea, -m.suction) * gas.Volume * m.made[gas.CO] * seepPart
	}
	if m.wrong.joint && exhaust > 0 {
		m.wrong.jointOpen += dt
		source += min(exhaust, 2.7e-7*m.wrong.jointOpen) // the joint opens further
	}
	wind := 2.5 * (1 - 0.35*m.gusts.out) // m/s
	flush := 10 * 2.5 / wind             // s
	m.co += (source*1e6/breathing - m.co/flush) * dt
}

package sim

import (
	"math"
	"math/rand/v2"

	"charwarden/sensors/derive/gas"
)

// machine is the rig's state. Temperatures in degC, flows in mol/s.
type machine struct {
	rng  *rand.Rand
	luck *rand.Rand // of faults: the weather stays the same with and without them

	// the site and the day
	air0, pressure0, humidity0 float64
	nozzle, dusty, glow        float64 // around 1: this nozzle's resistance, this fuel, this lining
	dustLoad, hopper           float64 // kg/Nm3; kg that it holds, 0: no limit
	gusts, bed, hunt, sky      wander

	// the operator's hands
	set      [controls]float64
	crank    float64 // s that the starter still turns
	valve    float64 // of the mixer's air, mol/s per root of a Pa
	lid      float64 // s that it still stands open
	moisture float64 // of the charcoal at the nozzle

	wrong trouble

	// hearth and pipes
	fire                        float64 // share of the bed that burns, 0..1
	hearth, near, far           float64
	gasOut, filterIn, filterOut float64
	returnLine                  float64
	charcoal                    float64 // kg
	dust, water                 float64 // kg in the filter
	made                        gas.Mix // out of the hearth, mole fractions
	exhaust                     gas.Mix // of the engine, mole fractions
	gas                         float64 // out of the hearth
	engineGas                   float64 // through the filter
	leakBefore, leakAfter       float64 // air into the gas before and after the filter
	back                        float64 // exhaust in the blast, mole fraction
	seep                        float64 // gas that the draught drives out of a rig that stands
	suction, drop               float64 // Pa

	// engine and operator
	rpm, throttle float64
	puff          float64 // m3/s of CO at the operator, dying away
	co            float64 // ppm

	// told already
	wasRunning, wasOut bool
}

func newMachine(rng, luck *rand.Rand, plan Plan) machine {
	around := func(share float64) float64 { return 1 + share*(2*rng.Float64()-1) }
	m := machine{
		rng:       rng,
		luck:      luck,
		air0:      20 + 4*(2*rng.Float64()-1),
		pressure0: 99800 + 1500*(2*rng.Float64()-1),
		humidity0: 0.55 + 0.15*(2*rng.Float64()-1),
		nozzle:    around(0.06), dusty: around(0.15), glow: around(0.03),
		gusts: wander{seconds: 15}, bed: wander{seconds: 90}, hunt: wander{seconds: 4}, sky: wander{seconds: 1800},
		dustLoad: plan.Dust, hopper: plan.Hopper,
		moisture: min(plan.Moisture, 0.6),
		charcoal: plan.Charcoal,
		dust:     plan.StartDust,
		valve:    valve0,
		made:     gas.DryAir, exhaust: gas.DryAir,
		wrong: noTrouble(),
	}
	if m.dustLoad == 0 {
		m.dustLoad = dustUsual
	}
	if m.dust == 0 {
		m.dust = dustBefore
	}
	for _, t := range []*float64{&m.hearth, &m.near, &m.far, &m.gasOut, &m.filterIn, &m.filterOut, &m.returnLine} {
		*t = m.air0
	}
	return m
}

// wander is noise that wanders between -1 and 1 and forgets within seconds.
type wander struct{ seconds, x, out float64 }

func (w *wander) move(rng *rand.Rand, dt float64) {
	k := dt / w.seconds
	w.x += -w.x*k + math.Sqrt(2*k)*rng.NormFloat64()
	w.out = math.Tanh(w.x)
}

// do moves a control.
func (m *machine) do(a Act) {
	if m.wrong.deaf[a.Control] {
		return
	}
	switch {
	case a.Control == Flare && a.To > 0:
		m.puff += puffStart // unburnt until the torch catches it
	case a.Control == Flare:
		m.puff += puffStart // what is in the pipe when the flare goes out
	case a.Control == Engine && a.To > 0:
		m.crank = 4
	case a.Control == Seal && a.To > 0:
		m.puff += puffStop // pressure rises at once behind the caps
	case a.Control == Fill:
		m.open(lidFill)
		m.charcoal += a.To
		if m.hopper > 0 {
			m.charcoal = min(m.charcoal, m.hopper)
		}
	case a.Control == Tap:
		m.wrong.settle()
	case a.Control == Shake:
		m.dust *= shaken
	}
	m.set[a.Control] = a.To
}

// open takes the lid off for some seconds: what stands above the charcoal
// comes out.
func (m *machine) open(seconds float64) {
	m.lid = max(m.lid, seconds)
	if m.hearth > 300 {
		m.puff += puffLid
	}
}

// stick leaves a control where it is for good.
func (m *machine) stick(c Control, to float64) {
	m.set[c], m.wrong.deaf[c] = to, true
}

// move takes one step and returns what the rig did that is worth telling.
func (m *machine) move(dt float64) (told string) {
	for _, w := range []*wander{&m.gusts, &m.bed, &m.hunt, &m.sky} {
		w.move(m.rng, dt)
	}
	m.worsen(dt)
	m.lid = max(0, m.lid-dt)
	m.turn(dt)
	m.burn(dt)
	m.clean(dt)
	m.drift(dt)
	running := m.rpm > 2500
	switch {
	case running && !m.wasRunning:
		told = "engine runs on gas"
	case m.set[Engine] > 0 && m.crank <= 0 && m.rpm < 500 && m.wasRunning:
		told = "engine stalled"
		m.set[Engine] = 0
	}
	m.wasRunning = running || m.wasRunning && m.rpm >= 500
	if out := m.charcoal < 0.01; out && !m.wasOut {
		m.wasOut = true
		told = "the charcoal has run out"
	}
	return told
}

func (m *machine) air() float64 { return m.air0 + 1.2*m.sky.out + 0.2*m.gusts.out }

// pressure of the air, Pa.
func (m *machine) pressure() float64 { return m.pressure0 + 60*m.sky.out }

// humidity of the air, relative.
func (m *machine) humidity() float64 { return m.humidity0 - 0.06*m.sky.out }

// steam in the air, mole fraction.
func (m *machine) steam() float64 { return m.humidity() * saturation(m.air()) / m.pressure() }

// supply is a 12 V battery, its wires and the engine's charging coil.
func (m *machine) supply() float64 {
	amps := 1.0 + 4*max(m.set[Blower], m.wrong.draft)
	if m.crank > 0 {
		amps += 60
	}
	return 12.75 - 0.03*amps + 0.9*m.rpm/3000 + 0.02*m.hunt.out
}

const perHour = gas.Volume * 3600 // Nm3/h in a mol/s

func (m *machine) show() frame {
	f := frame{
		qWallNear: m.near, qWallFar: m.far, qGasOut: m.gasOut,
		qFilterIn: m.filterIn, qFilterOut: m.filterOut, qReturnLine: m.returnLine,
		qSuction: m.suction, qFilterDrop: m.drop, qCO: m.co,
		qSpeed: m.rpm, qSupply: m.supply(),
		qAirTemp: m.air(), qAirPressure: m.pressure(),
		qAirHumidity: m.humidity(), qCharcoal: m.charcoal,
		qGasFlow: m.gas * perHour, qEngineFlow: m.engineGas * perHour, qFilterLoad: m.resistance() / filter0,
		qBedExit: m.hearth, qStrength: m.made.HeatingValue(), qReturnShare: m.back,
	}
	m.wrong.lie(&f)
	return f
}

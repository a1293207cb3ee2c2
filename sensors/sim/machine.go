package sim

import (
	"math"
	"math/rand/v2"
)

// Of every gas and engine.
const (
	gasR     = 8.314462618 // J/mol/K, CODATA 2018
	stefan   = 5.670374e-8 // W/m2/K4, CODATA 2018
	zeroC    = 273.15      // K
	litreN   = 0.0224140   // m3/mol at 0 degC, 101.325 kPa
	oxygen   = 0.2095      // of dry air
	burnCO2  = 393.5e3     // J/mol C + O2 = CO2
	boudoir  = 172.5e3     // J/mol C + CO2 = 2 CO, taken up
	waterGas = 131.3e3     // J/mol C + H2O = CO + H2, taken up
	boil     = 44.0e3      // J/mol water
	gasHeat  = 31.5        // J/mol/K, mean of hot producer gas
)

// Of this rig: invented.
const (
	flow0     = 0.1115 // mol/s of gas that the other constants are given at: 2.5 L/s at 0 degC
	suction0  = 520.0  // Pa at flow0
	blowerMol = 0.072  // mol/s that the blower draws
	hearthCap = 1200.0 // J/K of glowing bed and lining
	nearCap   = 700.0  // J/K of the shell beside the nozzle
	farCap    = 1500.0 // J/K
	nearArea  = 0.042  // m2 that lose heat to the air
	farArea   = 0.050  // m2
	nearView  = 0.0038 // m2 through which the fire's glow reaches the shell at flow0
	farPath   = 1.0    // W/K from the bed to the far shell
	cubic     = 420e-6 // m3 of the engine
	inertia   = 0.30   // kg m2 of engine and pump
	filter0   = 1.9e9  // 1/m3: drop = flow * viscosity * (filter0 + ...)
	perDust   = 1.9e11 // 1/m3/kg
	perWater  = 1.5e11 // 1/m3/kg
	dustLoad  = 0.8e-3 // kg per m3 of gas at 0 degC
	breathing = 3.0    // m3 of air around the operator
)

// machine is the rig's state. Temperatures in degC, flows in mol/s.
type machine struct {
	rng *rand.Rand

	// the site and the day
	air0, pressure0, humidity0 float64
	nozzle, dusty, glow        float64 // around 1: this nozzle, this fuel, this lining
	gusts, bed, hunt, sky      wander

	// the operator's hands
	set      [controls]float64
	jammed   bool    // the return valve does not follow any more
	crank    float64 // s that the starter still turns
	moisture float64 // of the charcoal at the nozzle

	// faults
	draft     float64 // how hard the blower draws beside the engine, as Blower
	tar, hole bool
	leaking   bool
	leak      float64 // s that it has been leaking

	// hearth and pipes
	fire                        float64 // share of the bed that burns, 0..1
	hearth, near, far           float64
	gasOut, filterIn, filterOut float64
	returnLine                  float64
	charcoal                    float64 // kg
	dust, water                 float64 // kg in the filter
	gas                         float64 // out of the hearth
	engineGas                   float64 // of it, through the filter
	strength                    float64 // CO and H2 in the gas, mole fraction
	steam                       float64 // water in the gas, mole fraction
	suction, drop               float64 // Pa

	// engine and operator
	rpm, throttle float64
	puff          float64 // m3/s of CO at the operator, dying away
	co            float64 // ppm

	// told already
	wasRunning, wasOut bool
}

func newMachine(rng *rand.Rand, plan Plan) machine {
	around := func(share float64) float64 { return 1 + share*(2*rng.Float64()-1) }
	m := machine{
		rng:       rng,
		air0:      20 + 4*(2*rng.Float64()-1),
		pressure0: 99800 + 1500*(2*rng.Float64()-1),
		humidity0: 0.55 + 0.15*(2*rng.Float64()-1),
		nozzle:    around(0.06), dusty: around(0.15), glow: around(0.05),
		gusts: wander{seconds: 15}, bed: wander{seconds: 90}, hunt: wander{seconds: 4}, sky: wander{seconds: 1800},
		moisture: plan.Moisture,
		charcoal: plan.Charcoal,
		dust:     2e-3, // from the runs since it was cleaned
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
	if a.Control == Return && m.jammed {
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
	}
	m.set[a.Control] = a.To
}

// jam leaves the return valve at an opening for good.
func (m *machine) jam(opening float64) {
	m.set[Return], m.jammed = opening, true
}

// move takes one step and returns what the rig did that is worth telling.
func (m *machine) move(dt float64) (told string) {
	for _, w := range []*wander{&m.gusts, &m.bed, &m.hunt, &m.sky} {
		w.move(m.rng, dt)
	}
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

// supply is a 12 V battery, its wires and the engine's charging coil.
func (m *machine) supply() float64 {
	amps := 1.0 + 4*max(m.set[Blower], m.draft)
	if m.crank > 0 {
		amps += 60
	}
	return 12.75 - 0.03*amps + 0.9*m.rpm/3000 + 0.02*m.hunt.out
}

func (m *machine) show() frame {
	return frame{
		qWallNear: m.near, qWallFar: m.far, qGasOut: m.gasOut,
		qFilterIn: m.filterIn, qFilterOut: m.filterOut, qReturnLine: m.returnLine,
		qSuction: m.suction, qFilterDrop: m.drop, qCO: m.co,
		qSpeed: m.rpm, qSupply: m.supply(),
		qAirTemp: m.air(), qAirPressure: m.pressure(),
		qAirHumidity: m.humidity0 - 0.06*m.sky.out, qCharcoal: m.charcoal,
	}
}

package sim

import "math"

// trouble is what is wrong with the rig: openings, blockages and hands that a
// fault changes and the laws of flow and heat then work with. Areas are Cd A.
type trouble struct {
	deaf [controls]bool // controls that the operator moves in vain
	slow []slow

	draft             float64 // how hard the blower draws beside the engine, as Blower
	pushes            bool    // the blower blows the wrong way; the shut bed cannot breathe out at a safe place
	nozzle, bed       float64 // area of the nozzle and resistance of the bed, in what they were
	clinker, void     float64 // 0..1
	hotArea           float64 // m2 into the hot part
	before, after     float64 // m2 into the gas pipe before and behind the filter
	sealArea          float64 // m2 that stay open when the rig is shut
	returnOpen        bool    // when the rig is shut
	cooler            float64 // heat transfer, in what it was
	tar, sticky, hole bool
	glued             float64 // kg in the filter that shaking does not move
	burning           bool
	burnt             float64 // of the filter medium, 0..1
	joint             bool
	jointOpen         float64 // s that it has been leaking
	popping           float64 // s that backfires still come
	pulse             float64 // Pa of a backfire, dying away
	miss              float64 // s without ignition
	loose             float64 // how far the near wall's couple has come off, 0..1
	plugged           bool    // the filter drop's tube
	stale             float64 // Pa behind the plug
}

// slow is a trouble that grows evenly.
type slow struct {
	what     *float64
	to, rate float64 // rate in 1/s, of either sign
}

func noTrouble() trouble { return trouble{nozzle: 1, bed: 1, cooler: 1} }

// over lets a trouble grow to its full size within minutes.
func (w *trouble) over(what *float64, to, minutes float64) {
	w.slow = append(w.slow, slow{what, to, (to - *what) / (minutes * 60)})
}

// Of a backfire: invented.
const (
	pulsePa      = 1500.0
	pulseSeconds = 0.6
	popEvery     = 50.0 // s, on average
)

// worsen lets troubles grow, and the mixture pop.
func (m *machine) worsen(dt float64) {
	w := &m.wrong
	for _, s := range w.slow {
		if left := s.to - *s.what; math.Abs(left) <= math.Abs(s.rate*dt) {
			*s.what = s.to
		} else {
			*s.what += s.rate * dt
		}
	}
	w.pulse -= w.pulse * min(1, dt/pulseSeconds)
	w.miss = max(0, w.miss-dt)
	w.popping = max(0, w.popping-dt)
	// Air in the gas pipe burns back when the mixture is slow.
	often := max(0, 0.85-m.own()) * 2 // in what a bad spark brings
	if w.popping > 0 {
		often = 1
	}
	if m.rpm > 500 && often > 0 && m.luck.Float64() < often*dt/popEvery {
		m.pop()
	}
}

// pop is a backfire into the gas pipe.
func (m *machine) pop() {
	m.wrong.pulse, m.wrong.miss = pulsePa, 1.5
	m.puff += puffStart
	m.gasOut += 15
	m.near += 3
	m.returnLine += 15
}

// settle is what a rap on hopper and hearth does.
func (w *trouble) settle() {
	for i := range w.slow {
		if w.slow[i].what == &w.void {
			w.slow[i].to = 0
		}
	}
	w.void = 0
}

// near is how much more of the fire the near shell sees, far how well the bed
// reaches the far one: a clinker turns the blast to the near side, above a void
// the glow is free.
func (w *trouble) near() float64 { return 1 + 0.6*w.clinker + 0.35*w.void }
func (w *trouble) far() float64  { return 1 - 0.4*w.clinker }

// pressing is how much higher the shut rig's pressure is than it should be.
func (w *trouble) pressing() float64 {
	if w.pushes {
		return 3
	}
	return 1
}

// Of a filter on fire: its medium is 0.12 kg of 25 MJ/kg. Invented.
const (
	mediumHeat = 3e6
	burnO2     = 400e3 // J/mol O2, near enough for all fuels (Thornton's rule, from memory)
	glowAlone  = 30.0  // W that a shut filter goes on with
	standLoss  = 0.5   // W/K of a filter box that stands
	pushArea   = 2e-5  // m2 of seals towards the operator
)

// smoulder burns the filter with the air that leaks in, W.
func (m *machine) smoulder(dt float64) float64 {
	w := &m.wrong
	if !w.burning || w.burnt >= 1 {
		return 0
	}
	heat := glowAlone
	if m.engineGas > 1e-4 {
		heat = m.leakBefore * m.oxygen() * burnO2
	}
	w.burnt = min(1, w.burnt+heat*dt/mediumHeat)
	return heat
}

// scorched is the filter's resistance in what it was: it melts, then a hole
// opens beside what is left.
func (w *trouble) scorched() float64 {
	const through = 0.08
	return (1 + 6*min(w.burnt, through)) / (1 + 40*max(0, w.burnt-through))
}

// lie changes what the sensors are shown.
func (w *trouble) lie(f *frame) {
	f[qWallNear] -= w.loose * (f[qWallNear] - f[qAirTemp])
	if w.plugged {
		f[qFilterDrop] = w.stale
	}
}

// blocked is the share of the nozzle that a clinker covers, lump by lump.
func (w *trouble) blocked() float64 { return 0.11 * math.Floor(4*w.clinker) }

// slip is what of the blast's O2 passes through a void unburnt.
func (w *trouble) slip() float64 { return 0.03 * w.void }

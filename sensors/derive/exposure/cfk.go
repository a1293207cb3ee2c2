package exposure

import "math"

// The CFK equation (coheadquarters.com, CFKEqu1), everything per ml of blood:
//
//	d[COHb]/dt = VCO/Vb + (PICO - [COHb]·PcO2/(M·[O2Hb])) / (Vb·B)
//	B = 1/DL + PL/VA,  [O2Hb] = cap - [COHb],  PcO2 = 0.2095·(PL - PICO) - 49
const (
	bloodML    = 5500              // Vb
	haldane    = 218               // M: how much better than oxygen CO binds
	ownCO      = 0.007             // VCO: what the body makes itself, ml/min
	dryMMHg    = 760 - 47          // PL: the air in the lungs without its water
	capacity   = 1.38 * 14.5 / 100 // cap: ml of gas per ml of blood with 14.5 g/dl of haemoglobin
	standard   = dryMMHg / 760.0 * 273.15 / 310.15
	mostPart   = 0.99 // of the haemoglobin; the equation has a pole at 1
	longest    = 0.1  // min, of an integration step
	leastO2    = 1.0  // mmHg; over 66 % of CO in the air the formula for PcO2 turns negative
	mostPPM    = 1e6
	nearPart   = 1e-12 // this near to where it is going it has arrived
	mmHgPerPPM = dryMMHg * 1e-6
)

// lungs are what of a person's breathing enters the equation.
type lungs struct {
	diffusion   float64 // DL, ml/min/mmHg
	ventilation float64 // VA, l/min at body temperature and pressure, saturated
}

// uptake is the equation at one concentration, for y = [COHb]/cap:
// dy/dt = in - out·y/(1-y), per minute.
type uptake struct{ in, out float64 }

func (l lungs) uptake(ppm float64) uptake {
	b := 1/l.diffusion + dryMMHg/(l.ventilation*1000*standard)
	pico := ppm * mmHgPerPPM
	o2 := max(0.2095*(dryMMHg-pico)-49, leastO2)
	return uptake{
		in:  (ownCO + pico/b) / (bloodML * capacity),
		out: o2 / (haldane * bloodML * b * capacity),
	}
}

func (u uptake) slope(y float64) float64 { return u.in - u.out*y/(1-y) }

// step is how far one Runge-Kutta step may go from y: what is left free shrinks
// by a tenth at most, so no stage comes near the pole, and the way back is slow
// against the step, so that it stays stable. A fixed step of 0.75 min is wrong
// by more than a point at 12 800 ppm and says nothing.
func (u uptake) step(y float64) float64 {
	free := 1 - y
	return min(longest, 0.1*free/u.in, 0.2*free*free/u.out)
}

func (l lungs) cohb(percent, ppm, minutes float64) float64 {
	u := l.uptake(ppm)
	y := min(max(percent/100, 0), mostPart)
	for minutes > 0 {
		k1 := u.slope(y)
		if y >= mostPart && k1 >= 0 || math.Abs(k1)*(1-y)*(1-y) < nearPart*u.out {
			break
		}
		h := min(u.step(y), minutes)
		k2 := u.slope(y + h/2*k1)
		k3 := u.slope(y + h/2*k2)
		k4 := u.slope(y + h*k3)
		y = min(max(y+h/6*(k1+2*k2+2*k3+k4), 0), mostPart)
		minutes -= h
	}
	return 100 * y
}

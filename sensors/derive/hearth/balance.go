package hearth

import (
	"math"

	"charwarden/sensors/derive/gas"
)

// point is a state of the bed in Newton's unknowns.
type point struct{ co, h2, t float64 } // ln of mole fractions; T in 1000 K

// balance is what is left over of O, H and heat at a point, each as a share of
// what turns over, with the gas and the flows that close the rest: C, N2, Ar
// and the sum of mole fractions.
type balance struct {
	left  [3]dual
	gas   gas.Mix
	fuel  float64 // kg of charcoal per mol of gas
	blast float64 // mol of blast per mol of gas
	heat  float64 // J per mol of gas that the energy balance is out by, without the loss
}

// heatScale makes a share of the energy balance's error: about the heat in a
// mole of charcoal gas.
const heatScale = 1e5

// at evaluates the balances per mole of wet gas.
//
// Over carbon in excess the mole fractions of CO2, H2O and CH4 follow from those
// of CO and H2. N2 and Ar come with air only, so that their ratio is that of
// air; they fill the sum up to 1 and give the blast, and the carbon balance gives
// the charcoal. Three balances are left.
func (f *feed) at(u point, th *gas.Thermo) (b balance) {
	// d ln K / dT = heat / (R T2), van 't Hoff.
	slope := func(r *gas.Reaction) (lnK, perT float64) {
		return th.LnK(r), th.Heat(r) / (gas.R * th.T * th.T) * 1000
	}
	lnP := math.Log(f.p)
	kB, dB := slope(&gas.Boudouard)
	co := dual{u.co, [3]float64{1, 0, 0}}
	co2 := co.times(2).plus(lnP - kB)
	co2.d[2] -= dB
	x := struct{ co, co2, h2, h2o, ch4 dual }{co: co.exp(), co2: co2.exp()}
	if f.hydrogen {
		kW, dW := slope(&gas.WaterGas)
		kM, dM := slope(&gas.Methane)
		h2 := dual{u.h2, [3]float64{0, 1, 0}}
		h2o := co.add(h2).plus(lnP - kW)
		h2o.d[2] -= dW
		ch4 := h2.times(2).plus(lnP + kM)
		ch4.d[2] += dM
		x.h2, x.h2o, x.ch4 = h2.exp(), h2o.exp(), ch4.exp()
	}
	n2 := dual{v: 1}.sub(x.co).sub(x.co2).sub(x.h2).sub(x.h2o).sub(x.ch4).times(1 / (1 + f.argon))

	// The engine's exhaust, in moles per mole of gas.
	need := x.co.add(x.h2).times(0.5).add(x.ch4.times(2))
	n := need.times(f.lambda / f.air[gas.O2])
	eCO2 := x.co.add(x.co2).add(x.ch4).add(n.times(f.air[gas.CO2]))
	eH2O := x.h2.add(x.h2o).add(x.ch4.times(2)).add(n.times(f.air[gas.H2O]))
	eN2 := n2.add(n.times(f.air[gas.N2]))
	eO2 := need.times(f.lambda - 1)
	sum := eCO2.add(eH2O).add(eN2.times(1 + f.argon)).add(eO2)

	// One mole of blast.
	part := func(e dual, air float64) dual { return e.div(sum).times(f.r).plus((1 - f.r) * air) }
	bCO2, bH2O, bN2, bO2 := part(eCO2, f.air[gas.CO2]), part(eH2O, f.air[gas.H2O]), part(eN2, f.air[gas.N2]), part(eO2, f.air[gas.O2])
	h := f.exhaust
	hBlast := eCO2.times(h[gas.CO2]).add(eH2O.times(h[gas.H2O])).add(eN2.times(h[gas.N2] + f.argon*h[gas.Ar])).add(eO2.times(h[gas.O2])).
		div(sum).times(f.r).plus((1 - f.r) * f.hAir)

	blast := n2.div(bN2)
	carbon := x.co.add(x.co2).add(x.ch4)
	fuel := carbon.sub(blast.mul(bCO2)).times(1 / f.c)
	oxygen := x.co.add(x.co2.times(2)).add(x.h2o)
	b.left[0] = oxygen.sub(fuel.times(f.o)).sub(blast.mul(bO2.add(bCO2).times(2).add(bH2O))).div(oxygen)
	if f.hydrogen {
		hydrogen := x.h2.add(x.h2o).times(2).add(x.ch4.times(4))
		b.left[1] = hydrogen.sub(fuel.times(f.h)).sub(blast.mul(bH2O).times(2)).div(hydrogen)
	} else {
		b.left[1] = dual{0, [3]float64{0, 1, 0}}
	}
	b.gas = gas.Mix{gas.CO: x.co.v, gas.CO2: x.co2.v, gas.H2: x.h2.v, gas.H2O: x.h2o.v, gas.CH4: x.ch4.v, gas.N2: n2.v, gas.Ar: f.argon * n2.v}
	e := &th.Enthalpy
	out := x.co.times(e[gas.CO]).add(x.co2.times(e[gas.CO2])).add(x.h2.times(e[gas.H2])).add(x.h2o.times(e[gas.H2O])).
		add(x.ch4.times(e[gas.CH4])).add(n2.times(e[gas.N2] + f.argon*e[gas.Ar]))
	out.d[2] += b.gas.HeatCapacity(th.T) * 1000
	heat := fuel.times(f.heat).add(blast.mul(hBlast)).sub(out)
	b.heat = heat.v
	b.left[2] = heat.sub(fuel.times(f.loss)).times(1 / heatScale)
	b.fuel, b.blast = fuel.v, blast.v
	return b
}

// norm is the size of what is left over.
func (b *balance) norm(imposed bool) float64 {
	n := math.Abs(b.left[0].v) + math.Abs(b.left[1].v)
	if !imposed {
		n += math.Abs(b.left[2].v)
	}
	if b.gas[gas.N2] <= 0 || b.fuel <= 0 || b.blast <= 0 || !finite(n) {
		return math.Inf(1)
	}
	return n
}

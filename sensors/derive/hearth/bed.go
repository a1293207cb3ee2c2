package hearth

import (
	"math"

	"charwarden/sensors/derive/gas"
)

// bed is the gas in equilibrium over carbon in excess at one temperature, with
// the flows that close the balances of C, H, O, N and Ar.
type bed struct {
	x     gas.Mix // mole fractions of the gas
	gas   float64 // mol per kg of charcoal
	blast float64 // mol per kg
	spent float64 // moles of burnt charcoal per mole of blast
}

// settle brings the bed to the temperature of th.
//
// What an engine makes of the gas is the charcoal burnt in just the air it
// needs, and the air in excess: so exhaust that is led back is spent, always of
// one composition, and more air. How much of it is spent depends on the gas; if
// there is none in excess, all of it.
func (b *bed) settle(f *feed, th *gas.Thermo) {
	k := equilibria{f.p * math.Exp(-th.LnK(&gas.Boudouard)), f.p * math.Exp(-th.LnK(&gas.WaterGas)), f.p * math.Exp(th.LnK(&gas.Methane))}
	b.spent = f.r / f.lambda
	var last, off float64
	for i := range 50 {
		b.equilibrium(f, &k)
		excess := (f.lambda - 1) * (f.need - b.blast*(1-b.spent)) // mol of air per kg
		err := f.r/(1+excess/(f.burnt+b.blast*b.spent)) - b.spent
		if math.Abs(err) <= 1e-15 {
			return
		}
		step := err
		if i > 0 && off != err {
			step = err * (b.spent - last) / (off - err) // secant
		}
		last, off = b.spent, err
		b.spent = min(max(b.spent+step, 0), f.r)
	}
}

// equilibria are the mole fractions over carbon of CO2 by that of CO squared, of
// steam by those of CO and H2, and of CH4 by that of H2 squared.
type equilibria struct{ co2, h2o, ch4 float64 }

// conic is c + y Y + z Z + yy Y2 + yz YZ + zz Z2 of the mole fractions Y of CO
// and Z of H2.
type conic struct{ c, y, z, yy, yz, zz float64 }

func (a conic) plus(k float64, b conic) conic {
	return conic{a.c + k*b.c, a.y + k*b.y, a.z + k*b.z, a.yy + k*b.yy, a.yz + k*b.yz, a.zz + k*b.zz}
}

// equilibrium solves the balances of the elements for what share of the blast is
// spent.
//
// Per mole of gas they are conics in the mole fractions of CO and H2: N2 and Ar,
// which come with the blast only, are what the others leave of 1; they give the
// blast, and C, H and O less the blast's are the charcoal's. That they stand to
// each other as in charcoal makes two equations. The one of H is a quadratic
// in H2 with one root above 0, which leaves one unknown between two bounds.
func (b *bed) equilibrium(f *feed, k *equilibria) {
	share := func(s gas.Species) float64 { return (1-b.spent)*f.air[s] + b.spent*f.spent[s] }
	co2, h2o, o2 := share(gas.CO2), share(gas.H2O), share(gas.O2)
	inert := share(gas.N2) + share(gas.Ar)

	blast := conic{}.plus(1/inert, conic{1, -1, -1, -k.co2, -k.h2o, -k.ch4})
	c := conic{y: 1, yy: k.co2, zz: k.ch4}.plus(-co2, blast)
	h := conic{z: 2, yz: 2 * k.h2o, zz: 4 * k.ch4}.plus(-2*h2o, blast).plus(-f.h/f.c, c)
	o := conic{y: 1, yy: 2 * k.co2, yz: k.h2o}.plus(-2*(o2+co2)-h2o, blast).plus(-f.o/f.c, c)

	low, high := 0.0, 2/(1+math.Sqrt(1+4*k.co2)) // no CO; nothing but CO and CO2
	y, z := b.x[gas.CO], 0.0
	if !(y > low && y < high) {
		y = 0.9 * high
	}
	for range 200 {
		p, q := h.z+h.yz*y, h.c+y*(h.y+y*h.yy)
		z = 0 // without hydrogen
		if q < 0 {
			z = -2 * q / (p + math.Sqrt(p*p-4*h.zz*q))
		}
		left := o.c + y*(o.y+y*o.yy) + z*(o.z+y*o.yz+z*o.zz)
		if left > 0 {
			high = y
		} else {
			low = y
		}
		// Newton along the root z(y), or half way if that leads out.
		dz := -(h.y + 2*h.yy*y + h.yz*z) / (p + 2*h.zz*z)
		next := y - left/(o.y+2*o.yy*y+o.yz*z+dz*(o.z+o.yz*y+2*o.zz*z))
		if !(next >= low && next <= high) {
			next = (low + high) / 2
		}
		if math.Abs(next-y) <= 1e-15*y {
			break
		}
		y = next
	}
	rest := 1 - y - z - k.co2*y*y - k.h2o*y*z - k.ch4*z*z
	b.x = gas.Mix{gas.CO: y, gas.H2: z, gas.CO2: k.co2 * y * y, gas.H2O: k.h2o * y * z, gas.CH4: k.ch4 * z * z,
		gas.N2: rest * share(gas.N2) / inert, gas.Ar: rest * share(gas.Ar) / inert}
	b.gas = f.c / (b.x[gas.CO] + b.x[gas.CO2] + b.x[gas.CH4] - rest/inert*co2)
	b.blast = rest / inert * b.gas
}

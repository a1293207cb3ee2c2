package gas

import "math"

// sutherland holds, by Species, mu0 in Pa s at T0 in K, and S in K. They are
// least-squares fits to the viscosities of NASA's CEA (trans.inp), 273 to
// 423 K, within 0.25 %, steam 2.4 %; CO is that of Z. Tan, Air Pollution and
// Greenhouse Gases (2014), table 2.2, because CEA has it equal to N2's.
var sutherland = [Count]struct{ mu0, t0, s float64 }{
	CO:  {17.200e-6, 288.15, 118.0},
	CO2: {15.016e-6, 300, 275.9},
	H2:  {8.974e-6, 300, 71.8},
	H2O: {9.881e-6, 300, 357.9},
	CH4: {11.200e-6, 300, 173.3},
	N2:  {17.905e-6, 300, 112.0},
	Ar:  {22.729e-6, 300, 151.7},
	O2:  {20.742e-6, 300, 128.2},
}

// Viscosity of the pure gas at T in K, Pa s, by Sutherland's law
//
//	mu = mu0 (T/T0)^1.5 (T0 + S)/(T + S)
//
// Good to 1 % from 273 to 423 K, steam to 2.5 %; usable to some 700 K.
func (s Species) Viscosity(T float64) float64 {
	c := &sutherland[s]
	r := T / c.t0
	return c.mu0 * r * math.Sqrt(r) * (c.t0 + c.s) / (T + c.s)
}

// wilke holds what of phi_ij does not depend on temperature, by [i][j]:
// (Mj/Mi)^(1/4) and 1/sqrt(8 (1 + Mi/Mj)).
var wilke = func() (w [Count][Count]struct{ root, scale float64 }) {
	for i, mi := range molarMass {
		for j, mj := range molarMass {
			w[i][j].root = math.Pow(mj/mi, 0.25)
			w[i][j].scale = 1 / math.Sqrt(8*(1+mi/mj))
		}
	}
	return w
}()

// Viscosity of the mixture at T in K, Pa s, of fractions, by Wilke's rule
// (J. Chem. Phys. 18 (1950) 517):
//
//	mu = sum_i x_i mu_i / sum_j x_j phi_ij
//	phi_ij = (1 + (mu_i/mu_j)^(1/2) (Mj/Mi)^(1/4))^2 / (8 (1 + Mi/Mj))^(1/2)
//
// Good to about 2 % (from memory). The mean of the viscosities by mole fraction
// is not: in charcoal gas it is near 4 % low, for hydrogen is thin but drags
// the others little. A mixture of nothing has the viscosity 0.
func (m *Mix) Viscosity(T float64) float64 {
	var mu, root Mix
	for i, x := range m {
		if x > 0 {
			mu[i] = Species(i).Viscosity(T)
			root[i] = math.Sqrt(mu[i])
		}
	}
	var sum float64
	for i, x := range m {
		if !(x > 0) {
			continue
		}
		var drag float64
		for j, y := range m {
			if y > 0 {
				w := &wilke[i][j]
				a := 1 + root[i]/root[j]*w.root
				drag += y * a * a * w.scale
			}
		}
		sum += x * mu[i] / drag
	}
	return sum
}

// Density of the mixture at p in Pa and T in K, kg/m3, of fractions, as an ideal
// gas: real ones differ by less than 0.1 % near 1 atm. A gas that may condense
// must be above its DewPoint.
func (m *Mix) Density(p, T float64) float64 {
	return p * m.MolarMass() / (R * T)
}

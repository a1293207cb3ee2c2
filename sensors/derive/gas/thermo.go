package gas

import "math"

// The polynomials hold from coldest to the end of the last segment, 6000 K, and
// graphite's from 298 K. Outside every property is NaN.
const coldest = 200.0 // K

func (c *segment) heatCapacity(T float64) float64 {
	return R * ((c.a[0]/T+c.a[1])/T + c.a[2] + T*(c.a[3]+T*(c.a[4]+T*(c.a[5]+T*c.a[6]))))
}

func (c *segment) enthalpy(T, ln float64) float64 {
	return R * (c.b[0] - c.a[0]/T + c.a[1]*ln + T*(c.a[2]+T*(c.a[3]/2+T*(c.a[4]/3+T*(c.a[5]/4+T*c.a[6]/5)))))
}

func (c *segment) entropy(T, ln float64) float64 {
	return R * (c.b[1] - (c.a[0]/(2*T)+c.a[1])/T + c.a[2]*ln + T*(c.a[3]+T*(c.a[4]/2+T*(c.a[5]/3+T*c.a[6]/4))))
}

// at returns the segment for T, and NaN for T if there is none.
func at(s []segment, T float64) (*segment, float64) {
	if T >= coldest {
		for i := range s {
			if T <= s[i].upTo {
				return &s[i], T
			}
		}
	}
	return &s[0], math.NaN()
}

// HeatCapacity at constant pressure and T in K, J/mol/K.
func (s Species) HeatCapacity(T float64) float64 {
	c, T := at(thermo[s][:], T)
	return c.heatCapacity(T)
}

// Enthalpy at T in K with that of formation, J/mol: 0 for an element at 298.15 K.
func (s Species) Enthalpy(T float64) float64 {
	c, T := at(thermo[s][:], T)
	return c.enthalpy(T, math.Log(T))
}

// Entropy at T in K and 1 bar, J/mol/K.
func (s Species) Entropy(T float64) float64 {
	c, T := at(thermo[s][:], T)
	return c.entropy(T, math.Log(T))
}

// GraphiteHeatCapacity at T in K, J/mol/K.
func GraphiteHeatCapacity(T float64) float64 {
	c, T := at(graphite[:], T)
	return c.heatCapacity(T)
}

// GraphiteEnthalpy at T in K, J/mol: 0 at 298.15 K.
func GraphiteEnthalpy(T float64) float64 {
	c, T := at(graphite[:], T)
	return c.enthalpy(T, math.Log(T))
}

// GraphiteEntropy at T in K, J/mol/K.
func GraphiteEntropy(T float64) float64 {
	c, T := at(graphite[:], T)
	return c.entropy(T, math.Log(T))
}

// Enthalpy of the mixture at T in K with that of formation, J per mol of
// fractions, or J of moles. Steam stays steam, however cold.
func (m *Mix) Enthalpy(T float64) float64 {
	ln, h := math.Log(T), 0.0
	for s, n := range m {
		if n != 0 {
			c, T := at(thermo[s][:], T)
			h += n * c.enthalpy(T, ln)
		}
	}
	return h
}

// HeatCapacity of the mixture at constant pressure and T in K, J/mol/K of
// fractions, or J/K of moles.
func (m *Mix) HeatCapacity(T float64) float64 {
	var cp float64
	for s, n := range m {
		if n != 0 {
			cp += n * Species(s).HeatCapacity(T)
		}
	}
	return cp
}

// Thermo is what all gases and graphite are at one temperature: quicker than
// one by one.
type Thermo struct {
	T                               float64        // K
	Capacity                        [Count]float64 // J/mol/K at constant pressure
	Enthalpy, Gibbs                 [Count]float64 // J/mol with formation; Gibbs at 1 bar
	GraphiteEnthalpy, GraphiteGibbs float64        // J/mol
}

// At returns Thermo at T in K.
func At(T float64) Thermo {
	t := Thermo{T: T}
	ln := math.Log(T)
	for s := range thermo {
		c, T := at(thermo[s][:], T)
		t.Capacity[s] = c.heatCapacity(T)
		t.Enthalpy[s] = c.enthalpy(T, ln)
		t.Gibbs[s] = t.Enthalpy[s] - T*c.entropy(T, ln)
	}
	c, T := at(graphite[:], T)
	t.GraphiteEnthalpy = c.enthalpy(T, ln)
	t.GraphiteGibbs = t.GraphiteEnthalpy - T*c.entropy(T, ln)
	return t
}

// Of is the enthalpy of the mixture, J per mol of fractions, or J of moles.
func (t *Thermo) Of(m *Mix) float64 {
	var h float64
	for s, n := range m {
		h += n * t.Enthalpy[s]
	}
	return h
}

// Reaction is what is made of graphite and of each gas, in moles; what is used
// up is below 0.
type Reaction struct {
	Graphite float64
	Gas      Mix
}

// Reactions over glowing charcoal and in the fire.
var (
	Boudouard = Reaction{-1, Mix{CO2: -1, CO: 2}}                // C + CO2 = 2 CO
	WaterGas  = Reaction{-1, Mix{H2O: -1, CO: 1, H2: 1}}         // C + H2O = CO + H2
	Methane   = Reaction{-1, Mix{H2: -2, CH4: 1}}                // C + 2 H2 = CH4
	Shift     = Reaction{0, Mix{CO: -1, H2O: -1, CO2: 1, H2: 1}} // CO + H2O = CO2 + H2
	SplitCO2  = Reaction{0, Mix{CO2: -1, CO: 1, O2: 0.5}}        // CO2 = CO + 1/2 O2
	SplitH2O  = Reaction{0, Mix{H2O: -1, H2: 1, O2: 0.5}}        // H2O = H2 + 1/2 O2
)

// Heat that the reaction takes at T, J; below 0 if it gives heat.
func (t *Thermo) Heat(r *Reaction) float64 {
	return t.Of(&r.Gas) + r.Graphite*t.GraphiteEnthalpy
}

// LnK is the natural logarithm of the reaction's equilibrium constant at T, of
// the gases' partial pressures in bar and graphite with the activity 1.
func (t *Thermo) LnK(r *Reaction) float64 {
	g := r.Graphite * t.GraphiteGibbs
	for s, n := range r.Gas {
		g += n * t.Gibbs[s]
	}
	return -g / (R * t.T)
}

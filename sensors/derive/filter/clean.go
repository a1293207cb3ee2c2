package filter

import (
	"fmt"
	"math"
	"time"

	"charwarden/sensors/derive/gas"
)

// Clean is what the clean filter showed at any one steady load; the zero value
// is a filter of which that is not known. Beside Drop stands Suction or Flow or both.
type Clean struct {
	Drop    float64 // Pa across the filter; above 0
	Suction float64 // Pa at the reactor at the same time, MinSuction or more; 0: not known
	Flow    float64 // Nm3/h of gas at the same time, MinFlow or more; 0: not known
	Temp    float64 // degC before the filter at that flow; 0: 40 degC
}

// check returns what is wrong with c.
func (c Clean) check() error {
	switch {
	case c == Clean{}:
		return nil
	case !(c.Drop > 0) || math.IsInf(c.Drop, 0):
		return fmt.Errorf("filter: clean drop %g Pa: must be above 0", c.Drop)
	case c.Suction == 0 && c.Flow == 0:
		return fmt.Errorf("filter: clean drop %g Pa: needs the suction or the flow of that moment", c.Drop)
	case c.Suction != 0 && (!(c.Suction >= MinSuction) || math.IsInf(c.Suction, 0)):
		return fmt.Errorf("filter: clean suction %g Pa: must be %g or more; take it with the engine loaded", c.Suction, MinSuction)
	case c.Flow != 0 && (!(c.Flow >= MinFlow) || math.IsInf(c.Flow, 0)):
		return fmt.Errorf("filter: clean flow %g Nm3/h: must be %g or more; take it with the engine loaded", c.Flow, MinFlow)
	case !(c.Temp >= -40 && c.Temp <= 200):
		return fmt.Errorf("filter: clean temperature %g degC: must be -40 to 200", c.Temp)
	}
	return nil
}

// reference is the resistance of the clean filter. By flow it is
//
//	drop/(mu Q) = viscous + inertial (rho Q/mu)
//
// with Q in m3/s as it is, which is Medium's law without its measures.
type reference struct {
	viscous  float64 // 1/m3; 0: not known by flow
	inertial float64 // 1/m4
	load     float64 // m, rho Q/mu at the load that counts as the usual one
	root     float64 // Pa^0.5, drop over the root of suction; 0: not known by suction
}

func (c Clean) reference() (r reference) {
	if c.Suction > 0 {
		r.root = c.Drop / math.Sqrt(c.Suction)
	}
	if c.Flow > 0 {
		s := Stream{Flow: c.Flow, Temp: c.Temp, Pressure: gas.Atm, Gas: charcoalGas}
		if s.Temp == 0 {
			s.Temp = assumedTemp
		}
		p := s.point(c.Drop)
		r.viscous, r.load = p[1], p[0]
	}
	return r
}

// point is rho Q/mu in m, and drop/(mu Q) in 1/m3.
func (s *Stream) point(drop float64) Point {
	q, mu := s.Volume(), s.viscosity()
	return Point{s.density() * q / mu, drop / (mu * q)}
}

// total is the clean filter's resistance at the usual load, 1/m3.
func (r *reference) total() float64 { return r.viscous + r.inertial*r.load }

// Kept is what a Loading has learned of its clean filter.
type Kept struct {
	Learning bool      `json:"learning"` // it was cleaned, and its resistance is not learned yet
	At       time.Time `json:"at"`       // when it was learned; zero: never
	Viscous  float64   `json:"viscous_per_m3"`
	Inertial float64   `json:"inertial_per_m4"`
	Load     float64   `json:"load_m"`
	Root     float64   `json:"root_sqrt_pa"`
	Beside   Clean     `json:"beside"` // what was configured at that time
}

// Keep returns what to keep.
func (l *Loading) Keep() Kept {
	k := Kept{Learning: l.learning, Beside: l.clean}
	if !l.learned.IsZero() {
		k.At = l.learned.Round(0)
		k.Viscous, k.Inertial, k.Load, k.Root = l.ref.viscous, l.ref.inertial, l.ref.load, l.ref.root
	}
	return k
}

// Restore goes on with what was kept, before the first Step. Learning begins
// again from nothing if it was not at its end. What was configured anew since is
// newer than what was learned, and wins; numbers that cannot be are left out.
func (l *Loading) Restore(k Kept) {
	if k.Beside != l.clean {
		return
	}
	if k.Learning {
		l.learning = true
		return
	}
	r := reference{viscous: above0(k.Viscous), inertial: above0(k.Inertial), load: above0(k.Load), root: above0(k.Root)}
	if r.inertial == 0 || r.load == 0 {
		r.inertial = 0
	}
	if k.At.IsZero() || r.viscous == 0 && r.root == 0 || math.IsInf(r.total(), 0) {
		return
	}
	l.ref, l.learned = r, k.At
}

// above0 is v, or 0 if it is not a number above 0.
func above0(v float64) float64 {
	if v > 0 && !math.IsInf(v, 0) {
		return v
	}
	return 0
}

package engine

import (
	"errors"
	"math"
	"testing"

	"charwarden/sensors/derive/gas"
)

// FAO Forestry Paper 72 (1986), appendices 1 and 2, number by number: a lorry's
// engine of 3.56 L at 1500 rpm on wood gas of 4800 kJ/m3, and the gasifier for
// it. The book rounds at each step, to three figures at best.
//
// Two slips of the book: it multiplies kW by the power factor 0.8 and calls
// that kVA; and it gives the fire box 3.0 throats but multiplies by 3.1.
func TestForestryPaper72(t *testing.T) {
	const heat, efficiency, wood = 4800e3, 0.70, 17000e3 // J/m3, of the gasifier, J/kg
	s := Default()
	s.Displacement, s.IndicatedEfficiency = 3.56e-3, 0.28 // 28 % is friction and all
	s.ManifoldPressure, s.ManifoldTemp = gas.Atm, 0       // the book's m3 are as drawn
	r, err := Run(s, 1500, Gas{Heat: heat, AirNeed: 1.1, Yield: efficiency * wood / heat})
	if err != nil {
		t.Fatal(err)
	}
	throat := r.GasFlow / 0.9 // cm2, at 0.9 m3/h of gas for each
	wide := math.Sqrt(4 * throat / math.Pi)
	for _, c := range []struct {
		what      string
		got, book float64
	}{
		{"largest gas intake, m3/s", r.GasFlow / hour / s.VolumetricEfficiency, 0.0212},
		{"real gas intake, m3/s", r.GasFlow / hour, 0.017},
		{"in the gas, kW", r.Heat / 1e3, 81.6},
		{"mechanical, kW", r.Indicated / 1e3, 22.85},
		{"electrical, kVA in the book's words", r.Indicated * 0.8 / 1e3, 18.3},
		{"into the gasifier, kW", r.CharcoalFlow / hour * wood / 1e3, 116.6},
		{"wood, kg/s", r.CharcoalFlow / hour, 0.0069},
		{"wood, kg/h", r.CharcoalFlow, 24.7},
		{"wood, kg per electrical kWh", r.CharcoalFlow / (r.Indicated * 0.8 / 1e3), 1.35},
		{"throat, cm2", throat, 68},
		{"throat, cm", wide, 9.3},
		{"nozzles above it, cm", 1.15 * wide, 10.7},
		{"fire box, cm, of 3.1 throats", 3.1 * wide, 29},
		{"nozzle ring, cm", 2.3 * wide, 21.4},
		{"bore of 5 nozzles, mm, 6.25 % of the throat", 10 * math.Sqrt(0.0625/5) * wide, 10.4},
		{"tar below, kVA", r.Indicated * 0.8 / 1e3 / 3, 6.1},
	} {
		near(t, c.what, c.got, c.book, 0.011)
	}
}

// Books print 3800 kJ/m3 for petrol and air (FAO Forestry Paper 72, chapter 2, from memory).
func TestPetrolMixture(t *testing.T) {
	near(t, "petrol and air", petrolMixture/1e3, 3800, 0.01)
}

// U.S. Standard Atmosphere, 1976, table I (from memory).
func TestAltitude(t *testing.T) {
	for _, c := range []struct{ m, pa float64 }{
		{0, 101325}, {500, 95461}, {1000, 89876}, {1500, 84559}, {2000, 79501}, {3000, 70121}, {11000, 22700},
	} {
		near(t, "pressure", Altitude(c.m), c.pa, 1e-4)
	}
}

// The gas's heat that an engine draws falls with what it draws from.
func TestPlace(t *testing.T) {
	s := Default()
	s.Displacement, s.ManifoldPressure, s.ManifoldTemp = 420e-6, gas.Atm, 21
	s.PetrolPressure = gas.Atm
	heat := func(s Spec) float64 {
		r, err := Run(s, 3000, example())
		if err != nil {
			t.Fatal(err)
		}
		return r.Heat
	}
	base := heat(s)
	// Second, independent implementation, at one temperature.
	for _, c := range []struct{ m, factor float64 }{{500, 0.942}, {1000, 0.887}, {1500, 0.835}, {2000, 0.785}, {3000, 0.692}} {
		near(t, "at altitude", heat(s.Drawing(Altitude(c.m), 0))/base, c.factor, 7e-4)
	}
	for _, c := range []struct{ pa, less float64 }{{1e3, 0.0099}, {5e3, 0.049}} {
		near(t, "with suction", 1-heat(s.Drawing(gas.Atm, c.pa))/base, c.less, 0.01)
	}
	// Gas 10 degF (5.56 K) hotter takes 1 % (FEMA, Construction of a Simplified
	// Wood Gas Generator, 1989).
	g := example()
	hot := s
	hot.ManifoldTemp = g.Blend(21+5.56, 21)
	near(t, "hotter gas", 1-heat(hot)/base, 0.01, 0.1)
	if p := s.Drawing(90e3, 1000).PetrolPressure; p != s.PetrolPressure*90e3/gas.Atm {
		t.Errorf("petrol from %g Pa", p)
	}
}

func TestOutsideTheBox(t *testing.T) {
	rpm := 3000.0
	for _, c := range []struct {
		name string
		set  func(*Spec, float64)
		bad  []float64
	}{
		{"displacement", func(s *Spec, v float64) { s.Displacement = v }, []float64{0, 420}},
		{"rpm", func(_ *Spec, v float64) { rpm = v }, []float64{0, 299, 8001}},
		{"volumetric-efficiency", func(s *Spec, v float64) { s.VolumetricEfficiency = v }, []float64{0, 80}},
		{"indicated-efficiency", func(s *Spec, v float64) { s.IndicatedEfficiency = v }, []float64{0, 30}},
		{"manifold-pressure", func(s *Spec, v float64) { s.ManifoldPressure = v }, []float64{95, 121e3}},
		{"manifold-temp", func(s *Spec, v float64) { s.ManifoldTemp = v }, []float64{-21, 313}},
		{"petrol-pressure", func(s *Spec, v float64) { s.PetrolPressure = v }, []float64{98, 121e3}},
		{"petrol-temp", func(s *Spec, v float64) { s.PetrolTemp = v }, []float64{-21, 308}},
	} {
		for _, v := range append(c.bad, math.NaN(), math.Inf(1), math.Inf(-1)) {
			s := Default()
			s.Displacement, rpm = 420e-6, 3000
			c.set(&s, v)
			_, err := Run(s, rpm, example())
			var out *RangeError
			if !errors.As(err, &out) || out.Input != c.name || out.Error() == "" {
				t.Errorf("%s %g: %v", c.name, v, err)
			}
		}
	}
	s := Default()
	if _, err := Run(s, 3000, example()); err == nil || err.Error() != "engine: displacement 0: out of range (allowed: 2e-05 to 0.005)" {
		t.Errorf("%v", err)
	}
}

func BenchmarkRun(b *testing.B) {
	s, g := Default(), example()
	s.Displacement = 420e-6
	b.ReportAllocs()
	for b.Loop() {
		Run(s, 3000, g)
	}
}

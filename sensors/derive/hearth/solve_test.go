package hearth

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"charwarden/sensors/derive/gas"
)

// anyInput is from all of the sensible box, its edges too.
func anyInput(rng *rand.Rand) Input {
	u := func(lo, hi float64) float64 {
		switch rng.IntN(12) {
		case 0:
			return lo
		case 1:
			return hi
		}
		return lo + (hi-lo)*rng.Float64()
	}
	in := Input{
		Fuel:     Fuel{Carbon: u(0.75, 0.97), Hydrogen: u(0, 0.04), Oxygen: u(0, 0.15)},
		Moisture: u(0, 0.25), Return: u(0, 0.4), Loss: u(0, 0.25), AirTemp: u(-20, 300), Humidity: u(0, 1),
		ExhaustTemp: u(0, 600), Lambda: u(1, 2), Pressure: u(70e3, 110e3),
	}
	in.Fuel.Hydrogen = min(in.Fuel.Hydrogen, 1-in.Fuel.Carbon)
	in.Fuel.Oxygen = min(in.Fuel.Oxygen, 1-in.Fuel.Carbon-in.Fuel.Hydrogen)
	in.Fuel.Ash = (1 - in.Fuel.Carbon - in.Fuel.Hydrogen - in.Fuel.Oxygen) * rng.Float64()
	if rng.IntN(3) == 0 {
		in.Fuel.HHV = u(20e6, 36e6)
	}
	if rng.IntN(8) == 0 {
		in.Imposed, in.BedExit = true, u(400, 1500)
	}
	return in
}

// imbalance recomputes every balance from the answer alone and returns the
// largest error, as a share of what goes in; heat as a share of the charcoal's.
func imbalance(in Input, s State) float64 {
	worst := 0.0
	closes := func(into, out, scale float64) {
		if scale == 0 {
			return
		}
		worst = max(worst, math.Abs(into-out)/scale)
	}
	perNm3 := 1 / gas.Volume
	dry, w := 1-in.Moisture, in.Moisture/18.015e-3
	moist := gas.DryAir
	x := in.Humidity * gas.Saturation(298.15) / in.Pressure
	for i := range moist {
		moist[i] *= 1 - x
	}
	moist[gas.H2O] = x
	var blast, out gas.Mix
	for i := range blast {
		blast[i] = s.Blast * perNm3 * ((1-in.Return)*moist[i] + in.Return*s.Exhaust[i])
		out[i] = s.YieldWet * perNm3 * s.Wet[i]
	}
	c := dry*in.Fuel.Carbon/12.011e-3 + blast[gas.CO2]
	closes(c, out[gas.CO]+out[gas.CO2]+out[gas.CH4], c)
	h := dry*in.Fuel.Hydrogen/1.008e-3 + 2*w + 2*blast[gas.H2O]
	closes(h, 2*out[gas.H2]+2*out[gas.H2O]+4*out[gas.CH4], h)
	o := dry*in.Fuel.Oxygen/15.999e-3 + w + 2*blast[gas.O2] + 2*blast[gas.CO2] + blast[gas.H2O]
	closes(o, out[gas.CO]+2*out[gas.CO2]+out[gas.H2O], o)
	closes(blast[gas.N2], out[gas.N2], blast[gas.N2])
	closes(blast[gas.Ar], out[gas.Ar], blast[gas.Ar])

	hhv := in.Fuel.HHV
	if hhv == 0 {
		hhv = (34.91*in.Fuel.Carbon + 117.83*in.Fuel.Hydrogen - 10.34*in.Fuel.Oxygen - 2.11*in.Fuel.Ash) * 1e6
	}
	fuel := dry*(hhv+in.Fuel.Carbon/12.011e-3*gas.CO2.Enthalpy(298.15)-in.Fuel.Hydrogen/1.008e-3/2*285830) - w*285830
	var heat float64
	for i := range moist {
		heat += s.Blast * perNm3 * ((1-in.Return)*moist[i]*gas.Species(i).Enthalpy(in.AirTemp+273.15) + in.Return*s.Exhaust[i]*gas.Species(i).Enthalpy(in.ExhaustTemp+273.15))
		heat -= out[i] * gas.Species(i).Enthalpy(s.BedExit+273.15)
	}
	closes(fuel+heat, s.Loss*s.LHV, s.LHV)

	// The exhaust is that of this gas, burnt with lambda times its need.
	air := in.Lambda * (0.5*s.Wet[gas.CO] + 0.5*s.Wet[gas.H2] + 2*s.Wet[gas.CH4]) / moist[gas.O2]
	carbon := s.Wet[gas.CO] + s.Wet[gas.CO2] + s.Wet[gas.CH4] + air*moist[gas.CO2]
	total := s.ExhaustTotal / s.YieldWet
	closes(carbon, total*s.Exhaust[gas.CO2], carbon)
	return worst
}

// 100,000 hearths from everywhere in the box: each has an answer, finite and
// sensible, that closes every balance to 1e-9.
func TestEveryHearthHasAnAnswer(t *testing.T) {
	n := 100_000
	if testing.Short() {
		n /= 10
	}
	rng := rand.New(rand.NewPCG(1, 1))
	worst := 0.0
	for range n {
		in := anyInput(rng)
		s, err := Solve(in)
		if err != nil {
			t.Fatalf("%+v: %v", in, err)
		}
		if e := imbalance(in, s); !(e <= 1e-9) {
			t.Fatalf("%+v: balances are out by %g", in, e)
		} else {
			worst = max(worst, e)
		}
		if why := insane(&s); why != "" {
			t.Fatalf("%+v: %s: %+v", in, why, s)
		}
	}
	t.Logf("largest error of a balance %.2g", worst)
}

// insane says what is wrong with an answer that no hearth can give.
func insane(s *State) string {
	for _, x := range s.Wet {
		if !(x >= 0 && x <= 1) {
			return "a mole fraction"
		}
	}
	for _, v := range []float64{s.BedExit, s.Oxidation, s.OxidationFuel, s.HeatDry, s.HeatWet, s.YieldDry, s.YieldWet, s.AirNeedDry, s.AirNeedWet,
		s.MixtureDry, s.MixtureWet, s.ColdGasEfficiency, s.LHV, s.Loss, s.Blast, s.Air, s.ExhaustTotal, s.Residual} {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return "not a number"
		}
	}
	switch {
	case !(s.YieldWet > 0 && s.Blast > 0 && s.Air > 0):
		return "no flow"
	case math.Abs(s.Wet.Sum()-1) > 1e-9 || math.Abs(s.Dry.Sum()-1) > 1e-9 || math.Abs(s.Exhaust.Sum()-1) > 1e-9:
		return "fractions do not add up"
	case s.Residual > 1e-9:
		return "its own residual"
	}
	return ""
}

// What the trade knows: more loss, water or exhaust cools the bed's exit.
func TestCooler(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 2))
	for range 2000 {
		in := anyInput(rng)
		in.Imposed, in.Fuel.HHV = false, 0
		in.ExhaustTemp, in.AirTemp = 150, 25
		in.Loss, in.Return, in.Moisture = min(in.Loss, 0.24), min(in.Return, 0.39), min(in.Moisture, 0.24)
		at := func(change func(*Input)) float64 {
			x := in
			change(&x)
			s, err := Solve(x)
			if err != nil {
				t.Fatal(err)
			}
			return s.BedExit
		}
		base := at(func(*Input) {})
		if l, r, w := at(func(x *Input) { x.Loss += 0.01 }), at(func(x *Input) { x.Return += 0.01 }), at(func(x *Input) { x.Moisture += 0.01 }); !(l < base && r < base && w < base) {
			t.Fatalf("%+v: %.2f degC; more loss %.2f, exhaust %.2f, water %.2f", in, base, l, r, w)
		}
	}
}

// A solver that has just solved anything else gives the same answer.
func TestWarmIsCold(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 3))
	var warm Solver
	for range 5000 {
		in := anyInput(rng)
		a, err := warm.Solve(in)
		if err != nil {
			t.Fatal(err)
		}
		b, _ := Solve(in)
		if math.Abs(a.BedExit-b.BedExit) > 1e-6 || math.Abs(a.Wet[gas.CO]-b.Wet[gas.CO]) > 1e-9 || math.Abs(a.Loss-b.Loss) > 1e-9 {
			t.Fatalf("%+v: warm %+v, cold %+v", in, a, b)
		}
	}
}

func TestOutsideTheBox(t *testing.T) {
	names := []string{}
	for _, c := range []struct {
		name   string
		change func(*Input, float64)
		bad    []float64
	}{
		{"carbon", func(in *Input, v float64) { in.Fuel.Carbon = v }, []float64{0.74, 0.98}},
		{"hydrogen", func(in *Input, v float64) { in.Fuel.Hydrogen = v }, []float64{-0.001, 0.041}},
		{"oxygen", func(in *Input, v float64) { in.Fuel.Oxygen = v }, []float64{-0.001, 0.16}},
		{"ash", func(in *Input, v float64) { in.Fuel.Ash = v }, []float64{-0.1, 0.3}},
		{"hhv", func(in *Input, v float64) { in.Fuel.HHV = v }, []float64{-1, 19e6, 33}},
		{"moisture", func(in *Input, v float64) { in.Moisture = v }, []float64{-0.01, 0.26}},
		{"return", func(in *Input, v float64) { in.Return = v }, []float64{-0.01, 0.41}},
		{"loss", func(in *Input, v float64) { in.Loss = v }, []float64{-0.01, 0.26}},
		{"air-temp", func(in *Input, v float64) { in.AirTemp = v }, []float64{-21, 301}},
		{"humidity", func(in *Input, v float64) { in.Humidity = v }, []float64{-0.1, 1.1}},
		{"exhaust-temp", func(in *Input, v float64) { in.ExhaustTemp = v }, []float64{-1, 601}},
		{"lambda", func(in *Input, v float64) { in.Lambda = v }, []float64{0.99, 2.1}},
		{"pressure", func(in *Input, v float64) { in.Pressure = v }, []float64{101.325, 120e3}},
		{"imposed-temp", func(in *Input, v float64) { in.Imposed, in.BedExit = true, v }, []float64{399, 1501}},
	} {
		names = append(names, c.name)
		for _, v := range append(c.bad, math.NaN(), math.Inf(1), math.Inf(-1)) {
			in := Default()
			c.change(&in, v)
			_, err := Solve(in)
			var out *RangeError
			if !errors.As(err, &out) || out.Input != c.name || out.Error() == "" {
				t.Errorf("%s %g: %v", c.name, v, err)
			}
		}
	}
	if slices.Sort(names); len(names) != 14 {
		t.Errorf("%v", names)
	}
	in := Default()
	in.Fuel.Carbon = 0.96
	if _, err := Solve(in); err == nil || err.Error() != "hearth: carbon 0.96: with hydrogen, oxygen and ash it is 1.06 of the dry charcoal: at most 1 in all" {
		t.Errorf("%v", err)
	}
}

func FuzzSolve(f *testing.F) {
	d := Default()
	f.Add(d.Fuel.Carbon, d.Fuel.Hydrogen, d.Fuel.Oxygen, 0.0, d.Moisture, d.Return, d.Loss, d.AirTemp, d.Humidity, d.ExhaustTemp, d.Pressure, 0.0)
	f.Add(0.75, 0.0, 0.0, 36e6, 0.0, 0.0, 0.0, -20.0, 0.0, 20.0, 70e3, 0.0)
	f.Add(0.75, 1e-12, 0.15, 20e6, 0.25, 0.4, 0.25, -20.0, 0.0, 20.0, 110e3, 400.0)
	f.Fuzz(func(t *testing.T, c, h, o, hhv, w, r, q, air, rh, ex, p, imposed float64) {
		in := Input{Fuel: Fuel{Carbon: c, Hydrogen: h, Oxygen: o, HHV: hhv}, Moisture: w, Return: r, Loss: q, AirTemp: air,
			Humidity: rh, ExhaustTemp: ex, Lambda: 1, Pressure: p, Imposed: imposed != 0, BedExit: imposed}
		s, err := Solve(in)
		if err != nil {
			var out *RangeError
			if !errors.As(err, &out) || out.Input == "" {
				t.Fatalf("%v", err)
			}
			if out.Why != "" && out.Input != "carbon" {
				t.Fatalf("%+v: no answer inside the box: %v", in, err)
			}
			return
		}
		if why := insane(&s); why != "" {
			t.Fatalf("%+v: %s: %+v", in, why, s)
		}
		if e := imbalance(in, s); !(e < 1e-9) {
			t.Fatalf("%+v: out by %g", in, e)
		}
	})
}

func TestNoAllocation(t *testing.T) {
	in, s := Default(), new(Solver)
	if n := testing.AllocsPerRun(200, func() {
		in.Return = 0.1
		s.Solve(in)
		in.Return = 0.11
		s.Solve(in)
		Solve(in)
	}); n != 0 {
		t.Errorf("%g allocations", n)
	}
}

// Anywhere in the box, from nothing. The aim is a median of 50 µs.
func BenchmarkSolve(b *testing.B) {
	inputs := make([]Input, 1024)
	rng := rand.New(rand.NewPCG(4, 4))
	for i := range inputs {
		inputs[i] = anyInput(rng)
	}
	b.ReportAllocs()
	i := 0
	for b.Loop() {
		Solve(inputs[i%len(inputs)])
		i++
	}
}

// From the last answer, which was near, as the daemon does.
func BenchmarkSolveWarm(b *testing.B) {
	in, s := Default(), new(Solver)
	b.ReportAllocs()
	i := 0
	for b.Loop() {
		in.Return = 0.1 + 0.001*float64(i%20)
		s.Solve(in)
		i++
	}
}

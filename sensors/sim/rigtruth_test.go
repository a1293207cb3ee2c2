package sim

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"charwarden/sensors/derive/gas"
)

// atoms of C, H, O, N (with Ar).
func atoms(m *gas.Mix) [4]float64 {
	return [4]float64{
		m[gas.CO] + m[gas.CO2] + m[gas.CH4],
		2*m[gas.H2] + 2*m[gas.H2O] + 4*m[gas.CH4],
		m[gas.CO] + 2*m[gas.CO2] + m[gas.H2O] + 2*m[gas.O2],
		2*m[gas.N2] + m[gas.Ar],
	}
}

// No atom comes or goes, whatever burns.
func TestAtoms(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	for range 1000 {
		var blast gas.Mix
		for i := range blast {
			blast[i] = rng.Float64()
		}
		blast[gas.CO], blast[gas.H2], blast[gas.CH4] = 0, 0, 0
		blast = blast.Fractions()
		damp := 0.5 * rng.Float64()
		made, c := react(&blast, rng.Float64(), rng.Float64(), damp)
		in, out := atoms(&blast), atoms(&made)
		in[0] += c
		in[1] += 2*fuelH2*c + 2*damp*c
		in[2] += fuelO*c + damp*c
		air := gas.DryAir
		leak := rng.Float64()
		before := atoms(&made)
		heat := afterburn(&made, &air, leak, rng.Float64())
		after, added := atoms(&made), atoms(&air)
		for i := range in {
			if math.Abs(in[i]-out[i]) > 1e-12 || math.Abs(before[i]+leak*added[i]-after[i]) > 1e-12 {
				t.Fatalf("atom %d: %g in, %g out; with air %g, %g", i, in[i], out[i], before[i]+leak*added[i], after[i])
			}
		}
		for i, x := range made {
			if x < -1e-12 || heat < 0 {
				t.Fatalf("species %d: %g mol, heat %g", i, x, heat)
			}
		}
	}
}

// The carbon that leaves as gas is the charcoal's and the returned exhaust's.
func TestCarbon(t *testing.T) {
	r := NewRig(dawn, DefaultPlan(), 2)
	from := dawn.Add(30 * time.Minute)
	before := r.CharcoalLeft(from)
	var left, came float64 // mol
	for at := time.Duration(0); at < 20*time.Minute; at += rigStep {
		now := from.Add(at)
		flow := r.GasFlow(now) / perHour // takes the step
		m := &r.machine
		left += flow * (m.made[gas.CO] + m.made[gas.CO2] + m.made[gas.CH4]) * rigStep.Seconds()
		nitrogen := m.moist()[gas.N2]*(1-m.back) + m.exhaust[gas.N2]*m.back // ties the blast to the gas
		blast := flow * m.made[gas.N2] / nitrogen
		came += blast * (m.back*m.exhaust[gas.CO2] + (1-m.back)*gas.DryAir[gas.CO2]) * rigStep.Seconds()
	}
	burnt := (before - r.CharcoalLeft(from.Add(20*time.Minute))) * (1 - 0.06) * carbonMass / molC
	if rel := (left - came) / burnt; math.Abs(rel-1) > 0.005 {
		t.Errorf("%.1f mol of carbon left, %.1f came back, %.1f burnt", left, came, burnt)
	}
}

// Without exhaust in the blast the dry gas lies in the bands of charcoal gas of
// FAO Forestry Paper 72 (1986), table 2.3 (numbers from memory): CO 28-32 %, H2
// 4-10, CH4 0-2, CO2 1-3, N2 55-65, 4.5-5.6 MJ/Nm3.
func TestPublishedGas(t *testing.T) {
	for seed := range uint64(seeds) {
		r := NewRig(dawn, DefaultPlan(), seed)
		if err := r.Inject("return-stuck", 0); err != nil {
			t.Fatal(err)
		}
		r.Speed(dawn.Add(45 * time.Minute))
		dry := r.machine.made.Dry()
		for _, b := range []struct {
			what      string
			v, lo, hi float64
		}{
			{"CO", dry[gas.CO], 0.28, 0.32}, {"H2", dry[gas.H2], 0.04, 0.10}, {"CH4", dry[gas.CH4], 0, 0.02},
			{"CO2", dry[gas.CO2], 0.01, 0.03}, {"N2", dry[gas.N2] + dry[gas.Ar], 0.55, 0.65},
			{"MJ/Nm3", dry.HeatingValue() / 1e6, 4.5, 5.6},
		} {
			if !(b.v >= b.lo && b.v <= b.hi) {
				t.Errorf("seed %d: %s %.4f, want %g..%g", seed, b.what, b.v, b.lo, b.hi)
			}
		}
	}
}

// Exhaust in the blast cools the bed and thins the gas; what no sensor shows
// stays in sensible bands.
func TestTruths(t *testing.T) {
	r := NewRig(dawn, DefaultPlan(), 1)
	dry, wet := dawn.Add(13*time.Minute+50*time.Second), dawn.Add(50*time.Minute)
	if r.ReturnShare(dry) != 0 || r.ReturnShare(wet) < 0.1 || r.ReturnShare(wet) > 0.25 || r.Strength(wet) > r.Strength(dry)-0.1e6 || r.BedExit(wet) > r.BedExit(dry) {
		t.Errorf("return %.3f, %.3f; %.3g, %.3g J/Nm3; bed %.0f, %.0f degC",
			r.ReturnShare(dry), r.ReturnShare(wet), r.Strength(dry), r.Strength(wet), r.BedExit(dry), r.BedExit(wet))
	}
	if a, b := r.GasFlow(wet), r.EngineFlow(wet); a != b || a < 7 || a > 12 {
		t.Errorf("gas %g, filter %g Nm3/h", a, b)
	}
	sealed := dawn.Add(85 * time.Minute)
	if r.GasFlow(sealed) != 0 || r.EngineFlow(sealed) != 0 || r.FilterLoad(sealed) < r.FilterLoad(wet) {
		t.Errorf("sealed: gas %g, filter %g Nm3/h, load %g", r.GasFlow(sealed), r.EngineFlow(sealed), r.FilterLoad(sealed))
	}
	leak := NewRig(dawn, DefaultPlan(), 1)
	if err := leak.Inject("leak-cold-before", 40*time.Minute); err != nil {
		t.Fatal(err)
	}
	if a, b := leak.GasFlow(wet), leak.EngineFlow(wet); b < a*1.1 {
		t.Errorf("leak before the filter: gas %g, filter %g Nm3/h", a, b)
	}
}

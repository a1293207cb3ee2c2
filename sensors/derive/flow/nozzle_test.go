package flow

import (
	"math"
	"testing"

	"charwarden/sensors/derive/gas"
)

func near(t *testing.T, what string, got, want, share float64) {
	t.Helper()
	if !(math.Abs(got-want) <= share*math.Abs(want)) {
		t.Errorf("%s: %.6g, want %.6g", what, got, want)
	}
}

// Air of 25 degC through nozzles: a second, independent implementation.
func TestNozzle(t *testing.T) {
	air := Fluid{Gas: gas.DryAir, Temp: 25, Pressure: gas.Atm}
	for _, c := range []struct{ bore, cd, q, drop, tol float64 }{
		{12.7e-3, 0.80, 4.94, 129, 0.006}, {12.7e-3, 0.61, 4.94, 222, 0.006},
		{9.5e-3, 0.80, 4.94, 413, 0.006}, {9.5e-3, 0.61, 4.94, 710, 0.006},
		{19.05e-3, 0.80, 4.94, 26, 0.03}, {19.05e-3, 0.61, 4.94, 44, 0.02},
		{12.7e-3, 0.80, 12.7, 855, 0.006}, {12.7e-3, 0.61, 12.7, 1470, 0.006},
	} {
		n := Nozzle{c.bore, c.cd}
		near(t, "drop", n.Drop(&air, c.q), c.drop, c.tol)
		near(t, "flow back", n.Flow(&air, n.Drop(&air, c.q)), c.q, 1e-12)
		near(t, "backward", n.Flow(&air, -c.drop), -n.Flow(&air, c.drop), 1e-12)
		k := Calibrated(&air, c.q, c.drop)
		near(t, "calibrated", k.Drop(&air, c.q), c.drop, 1e-12)
	}
}

// 6.3 Nm3/h through 0.25 m of charcoal: a second, independent implementation,
// with 1.17 kg/Nm3 and air's viscosity (Sutherland: 1.716e-5 Pa s at 273.15 K, S
// 110.4 K).
func TestErgun(t *testing.T) {
	for _, c := range []struct{ wide, mm, void, phi, temp, viscous, total float64 }{
		{0.30, 20, 0.45, 0.7, 500, 1.58, 1.96},
		{0.30, 10, 0.42, 0.7, 500, 8.64, 9.63},
		{0.30, 4, 0.38, 0.6, 500, 113.4, 117.6},
		{0.30, 2, 0.36, 0.6, 500, 568.3, 578.5},
		{0.15, 4, 0.38, 0.6, 700, 657.3, 741.5},
	} {
		b := Bed{Width: c.wide, Depth: 0.25, Piece: c.mm * 1e-3, Void: c.void, Sphericity: c.phi}
		T := c.temp + gas.ZeroC
		v := 6.3 / 3600 * T / gas.ZeroC / (math.Pi / 4 * c.wide * c.wide)
		mu := 1.716e-5 * math.Pow(T/gas.ZeroC, 1.5) * (gas.ZeroC + 110.4) / (T + 110.4)
		near(t, "viscous", b.ergun(v, 0, mu), c.viscous, 0.005)
		near(t, "total", b.ergun(v, 1.17*gas.ZeroC/T, mu), c.total, 0.005)
		near(t, "backward", b.ergun(-v, 1, mu), -b.ergun(v, 1, mu), 1e-12)
		// Drop does it with the properties of the gas itself: here nitrogen, a
		// few percent thinner than air.
		n2 := Fluid{Gas: gas.Mix{gas.N2: 1}, Temp: c.temp, Pressure: gas.Atm}
		near(t, "of nitrogen", b.Drop(&n2, 6.3), c.total, 0.05)
	}
}

package hearth

import "testing"

// Every corner of the box, with a heating value given or not, and imposed.
func TestCorners(t *testing.T) {
	n := 0
	for bits := range 1 << 10 {
		pick := func(i int, lo, hi float64) float64 {
			if bits>>i&1 == 0 {
				return lo
			}
			return hi
		}
		in := Input{
			Fuel:     Fuel{Carbon: pick(0, 0.75, 0.97), Hydrogen: pick(1, 0, 0.04), Oxygen: pick(2, 0, 0.15)},
			Moisture: pick(3, 0, 0.25), Return: pick(4, 0, 0.4), Loss: pick(5, 0, 0.25), AirTemp: pick(6, -20, 300),
			Humidity: pick(7, 0, 1), ExhaustTemp: pick(8, 0, 600), Lambda: pick(9, 1, 2),
		}
		in.Fuel.Hydrogen = min(in.Fuel.Hydrogen, 1-in.Fuel.Carbon)
		in.Fuel.Oxygen = min(in.Fuel.Oxygen, 1-in.Fuel.Carbon-in.Fuel.Hydrogen)
		for _, in.Fuel.HHV = range []float64{0, 20e6, 36e6} {
			for _, in.Pressure = range []float64{70e3, 110e3} {
				for _, in.BedExit = range []float64{0, 400, 1500} {
					in.Imposed = in.BedExit != 0
					n++
					s, err := Solve(in)
					if err != nil {
						t.Fatalf("%+v: %v", in, err)
					}
					if e := imbalance(in, s); !(e <= 1e-9) {
						t.Fatalf("%+v: balances are out by %g", in, e)
					}
					if why := insane(&s); why != "" {
						t.Fatalf("%+v: %s: %+v", in, why, s)
					}
				}
			}
		}
	}
	if n != 1024*18 {
		t.Errorf("%d", n)
	}
}

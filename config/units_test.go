package config

import (
	"math"
	"strings"
	"testing"

	"charwarden/sensors"
)

// Outside facts. Factors: NIST SP 811 (2008), appendix B.8, as printed there.
// Fahrenheit: the fixed points of water and absolute zero.
func TestParseQuantity(t *testing.T) {
	for _, c := range []struct {
		in   string
		q    sensors.Quantity
		want float64
		tol  float64
	}{
		{"1 inH2O", sensors.Pressure, 249.0889, 5e-5},   // inch of water, conventional: 2.490889 E+02
		{"1 inH2O", sensors.Pressure, 249.082, 1e-2},    // inch of water at 4 °C: 2.49082 E+02
		{"1 mmH2O", sensors.Pressure, 9.80665, 1e-9},    // millimetre of water, conventional
		{"1 psi", sensors.Pressure, 6894.757, 1e-9},     // 6.894757 E+03
		{"1 bar", sensors.Pressure, 1e5, 0},             // 1.0 E+05
		{"1 mbar", sensors.Pressure, 100, 0},            // 1.0 E+02
		{"1013.25 hPa", sensors.Pressure, 101325, 1e-9}, // standard atmosphere 1.01325 E+05
		{"32 °F", sensors.Temperature, 0, 1e-12},
		{"212 degF", sensors.Temperature, 100, 1e-12},
		{"-40 degF", sensors.Temperature, -40, 1e-12},
		{"-459.67 degF", sensors.Temperature, -273.15, 1e-9},
		{"0 K", sensors.Temperature, -273.15, 0},
		{"1200 degF", sensors.Temperature, 648.8889, 1e-4},
		{"650 °C", sensors.Temperature, 650, 0},
		{"650degC", sensors.Temperature, 650, 0},
		{" +6.5e2  °C ", sensors.Temperature, 650, 0},
		{"2.5 kPa", sensors.Pressure, 2500, 0},
		{"-250 Pa", sensors.Pressure, -250, 0},
		{"35 ppm", sensors.CO, 35, 0},
		{"3000 rpm", sensors.Speed, 3000, 0},
		{"1.65 V", sensors.Voltage, 1.65, 0},
		{"50 mV", sensors.Voltage, 0.05, 0},
		{"50 %", sensors.Humidity, 0.5, 0},
		{"2 min", sensors.Age, 120, 0},
		{"90 d", sensors.Age, 90 * 86400, 0},
	} {
		got, err := ParseQuantity(c.in, c.q)
		if err != nil || math.Abs(got-c.want) > c.tol {
			t.Errorf("%q: %v, %v, want %v", c.in, got, err, c.want)
		}
	}
}

func TestParseQuantityRefuses(t *testing.T) {
	for _, c := range []struct {
		in   string
		q    sensors.Quantity
		want string
	}{
		{"650", sensors.Temperature, `write "650 °C"`},
		{"650 Pa", sensors.Temperature, "no unit of temperature"},
		{"650 degc", sensors.Temperature, "allowed: °C, degC, °F, degF, K"},
		{"2,5 kPa", sensors.Pressure, "not a comma"},
		{"kPa", sensors.Pressure, "no number"},
		{"", sensors.Pressure, "no number"},
		{"inf Pa", sensors.Pressure, "no number"},
		{"nan Pa", sensors.Pressure, "no number"},
		{"0x10 Pa", sensors.Pressure, `"x10 Pa" is no unit`},
		{"1_000 Pa", sensors.Pressure, `"_000 Pa" is no unit`},
		{"1e999 Pa", sensors.Pressure, "no number"},
		{"1e300 bar", sensors.Pressure, "too large"},
		{"- 5 Pa", sensors.Pressure, "no number"},
		{"5 ppm", sensors.Speed, "no unit of speed"},
	} {
		if v, err := ParseQuantity(c.in, c.q); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%q: %v, %v, want %q", c.in, v, err, c.want)
		}
	}
}

// A difference and a rate know no zero of the scale: 9 degF apart are 5 K.
func TestDifference(t *testing.T) {
	for in, want := range map[string]float64{"9 degF": 5, "9 °F": 5, "5 K": 5, "5 degC": 5, "-9 degF": -5} {
		if got, err := temperature.difference(in); err != nil || math.Abs(got-want) > 1e-12 {
			t.Errorf("%q: %v, %v, want %v", in, got, err, want)
		}
	}
	for in, want := range map[string]float64{"9 degF/s": 5, "60 degC/min": 1, "3600 K/h": 1, "1 degC/ms": 1000} {
		if got, err := temperature.rate(in); err != nil || math.Abs(got-want) > 1e-9 {
			t.Errorf("%q: %v, %v, want %v", in, got, err, want)
		}
	}
	for _, in := range []string{"5 degC", "5 degC/", "5 /s", "5 kPa/s", "5 degC/week", "/"} {
		if got, err := temperature.rate(in); err == nil {
			t.Errorf("%q: %v", in, got)
		}
	}
}

// Every unit that is offered can be read, and means one thing only.
func TestUnitsAreReadable(t *testing.T) {
	for _, d := range []dimension{temperature, pressure, concentration, speed, voltage, humidity, carboxy, ratio, duration, sensitivity, resistance} {
		seen := map[string]bool{}
		for _, u := range d.units {
			if _, err := d.parse("1 " + u.name); err != nil || seen[u.name] {
				t.Errorf("%s: %q: %v, twice %v", d.what, u.name, err, seen[u.name])
			}
			seen[u.name] = true
		}
	}
}

func FuzzParseQuantity(f *testing.F) {
	for _, s := range []string{"650 °C", "1200 degF", "-1.2e-3 inH2O", "35ppm", "1 2", "+.5 V", "1e", "٣ Pa", "%"} {
		f.Add(s, byte(1))
	}
	f.Fuzz(func(t *testing.T, s string, q byte) {
		quantity := sensors.Quantity(q % 10)
		v, err := ParseQuantity(s, quantity)
		if err != nil {
			if v != 0 {
				t.Errorf("%q: %v beside an error", s, v)
			}
			return
		}
		if math.IsNaN(v) || math.IsInf(v, 0) {
			t.Errorf("%q: %v", s, v)
		}
		// What is shown reads back, but for its decimals.
		if quantity == sensors.Age || math.Abs(v) > 1e9 {
			return
		}
		for _, d := range []Display{{}, {Temperature: "degF", Pressure: "inH2O"}, {Temperature: "K", Pressure: "psi"}} {
			shown := d.Format(quantity, v)
			back, err := ParseQuantity(shown, quantity)
			if err != nil || math.Abs(back-v) > 4+1e-12*math.Abs(v) {
				t.Errorf("%q = %v, shown as %q, reads back as %v, %v", s, v, shown, back, err)
			}
		}
	})
}

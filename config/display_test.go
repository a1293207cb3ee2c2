package config

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"charwarden/sensors"
)

// Conversions: see TestParseQuantity; 1 lb = 0.45359237 kg (NIST SP 811 B.8).
func TestFormat(t *testing.T) {
	us := Display{Temperature: "degF", Pressure: "inH2O", Mass: "lb"}
	for _, c := range []struct {
		d    Display
		q    sensors.Quantity
		v    float64
		want string
	}{
		{Display{}, sensors.Temperature, 650, "650.0 °C"},
		{Display{Temperature: "degC"}, sensors.Temperature, 650, "650.0 °C"},
		{us, sensors.Temperature, 100, "212.0 °F"},
		{us, sensors.Temperature, -40, "-40.0 °F"},
		{Display{Temperature: "K"}, sensors.Temperature, 0, "273.1 K"},
		{Display{}, sensors.Pressure, 250, "250 Pa"},
		{Display{}, sensors.Pressure, -0.2, "0 Pa"},
		{us, sensors.Pressure, 249.0889, "1.00 inH2O"},
		{Display{Pressure: "kPa"}, sensors.Pressure, 101325, "101.33 kPa"},
		{Display{Pressure: "mbar"}, sensors.Pressure, 101325, "1013.2 mbar"},
		{us, sensors.CO, 35.4, "35 ppm"},
		{us, sensors.Speed, 3000, "3000 rpm"},
		{us, sensors.Voltage, 4.975, "4.97 V"},
		{us, sensors.Humidity, 0.4, "40 %"},
		{us, sensors.Age, 90 * 86400, "90 d"},
		{us, sensors.Age, 100*3600 + 120, "4 d 4 h"},
		{us, sensors.Age, 0, "0 s"},
		{us, sensors.Age, 1e12, "11574074 d"},
		{us, sensors.Temperature, math.NaN(), "no value"},
		{us, sensors.CO, math.NaN(), "no value"},
	} {
		if got := c.d.Format(c.q, c.v); got != c.want {
			t.Errorf("%+v %v %v: %q, want %q", c.d, c.q.Unit(), c.v, got, c.want)
		}
	}
	for want, got := range map[string]string{
		"10.00 kg": Display{}.FormatMass(10), "22.05 lb": us.FormatMass(10), "no value": us.FormatMass(math.NaN()),
	} {
		if got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

func TestHuman(t *testing.T) {
	for d, want := range map[time.Duration]string{
		0: "0 s", 100 * time.Millisecond: "100 ms", time.Second: "1 s", 90 * time.Second: "1 min 30 s",
		2 * time.Minute: "2 min", -time.Second: "-1 s", 49*time.Hour + time.Second: "2 d 1 h",
	} {
		if got := human(d); got != want {
			t.Errorf("%v: %q, want %q", d, got, want)
		}
	}
}

// Every word that [display] offers has a unit and its decimals.
func TestDisplayWords(t *testing.T) {
	for _, w := range temperatureWords {
		if got := (Display{Temperature: w}).Format(sensors.Temperature, 20); got[len(got)-1] != w[len(w)-1] {
			t.Errorf("%s: %s", w, got)
		}
	}
	for _, w := range pressureWords {
		if got := (Display{Pressure: w}).Format(sensors.Pressure, 1e5); got[len(got)-len(w):] != w {
			t.Errorf("%s: %s", w, got)
		}
	}
	for _, w := range append(append(append([]string(nil), temperatureWords...), pressureWords...), massWords...) {
		if _, ok := decimals[w]; !ok {
			t.Errorf("%s: no decimals", w)
		}
	}
}

// Scale and Format are two ways to the same number.
func TestScale(t *testing.T) {
	for _, d := range []Display{{}, {"degF", "inH2O", "lb"}, {"K", "psi", "kg"}, {"degC", "mbar", ""}} {
		for _, q := range []sensors.Quantity{sensors.Temperature, sensors.Pressure, sensors.Mass, sensors.Speed} {
			const v = 1234.5
			unit, factor, zero := d.Scale(q)
			got := d.Format(q, v)
			var shown float64
			if _, err := fmt.Sscan(got, &shown); err != nil || math.Abs(shown-(v*factor+zero)) > 0.51 || !strings.HasSuffix(got, " "+unit) {
				t.Errorf("%+v %v: %s, scale %g %g %s", d, q, got, factor, zero, unit)
			}
		}
	}
}

package filter

import (
	"math"
	"strings"
	"testing"

	"charwarden/sensors"
	"charwarden/sensors/derive/gas"
)

// Dew points of gas at 101325 Pa by Magnus's formula (610.94 Pa, 17.625,
// 243.04 degC: Alduchov and Eskridge, J. Appl. Meteor. 35 (1996) 601).
func TestMargin(t *testing.T) {
	for steam, dew := range map[float64]float64{0.01: 7.2, 0.04: 29.2, 0.10: 46.1, 0.15: 54.2} {
		m := gas.Mix{gas.H2O: steam, gas.N2: 1 - steam}
		got := DewMargin(noon, Inputs{Temp: pa(45, 1), Air: pa(gas.Atm, 0), Flow: pa(6, 0)}, &m)
		if got.Channel != "filter_dew_margin" || got.Status != sensors.Good || math.Abs(got.Value-(45-dew)) > 0.1 || got.Value != Margin(45, steam, gas.Atm) || !got.At.Equal(noon) {
			t.Errorf("%g: %+v, want %g", steam, got, 45-dew)
		}
		l := math.Log(1.3 * steam * gas.Atm / 610.94)
		more := 243.04*l/(17.625-l) - dew
		if want := math.Hypot(1, more); math.Abs(got.Uncertainty-want) > 0.1 {
			t.Errorf("%g: within %g, want %g", steam, got.Uncertainty, want)
		}
		// The line is below the air: the dew point is lower there.
		low := DewMargin(noon, Inputs{Temp: pa(45, 1), Air: pa(gas.Atm, 0), Suction: pa(5000, 0)}, &m)
		if want := Margin(45, steam, gas.Atm-5000); math.Abs(low.Value-want) > 1e-9 || !(want > got.Value) {
			t.Errorf("%g: %g under suction, want %g above %g", steam, low.Value, want, got.Value)
		}
	}
}

func TestMarginStatus(t *testing.T) {
	wet, dry := gas.Mix{gas.H2O: 0.04, gas.N2: 0.96}, gas.Mix{gas.N2: 1}
	bad := sensors.Bad("filter_in", noon, sensors.Open, nil)
	off := sensors.Bad("gas_flow", noon, sensors.Unknown, errIdle)
	hot := pa(1000, 0)
	hot.Status = sensors.ClippedHigh
	low := pa(-5000, 0)
	low.Status = sensors.ClippedLow
	for _, c := range []struct {
		name string
		in   Inputs
		m    *gas.Mix
		want sensors.Status
		says string
	}{
		{"no thermometer", Inputs{}, &wet, sensors.Unknown, "no thermometer"},
		{"open", Inputs{Temp: &bad, Flow: pa(6, 0)}, &wet, sensors.Open, "temperature: open"},
		{"hot", Inputs{Temp: hot, Flow: pa(6, 0)}, &wet, sensors.Unknown, "temperature: clipped"},
		{"no flow", Inputs{Temp: pa(15, 0), Flow: pa(0.1, 0)}, &wet, sensors.Unknown, "no flow"},
		{"no suction", Inputs{Temp: pa(15, 0), Suction: pa(10, 0)}, &wet, sensors.Unknown, "no flow"},
		{"engine off", Inputs{Temp: pa(15, 0), Flow: &off, Suction: pa(500, 0)}, &wet, sensors.Unknown, errIdle.Error()},
		{"flow and suction bad", Inputs{Temp: pa(15, 0), Flow: &bad, Suction: &bad}, &wet, sensors.Unknown, "not known"},
		{"flow bad, no suction", Inputs{Temp: pa(15, 0), Flow: &bad, Suction: pa(0, 0)}, &wet, sensors.Unknown, "no flow"},
		{"blown through", Inputs{Temp: pa(15, 0), Flow: &bad, Suction: low}, &wet, sensors.Unknown, "no flow"},
		{"dry", Inputs{Temp: pa(15, 0), Flow: pa(6, 0)}, &dry, sensors.Unknown, "steam"},
	} {
		got := DewMargin(noon, c.in, c.m)
		if got.Status != c.want || !math.IsNaN(got.Value) || got.Err == nil || !strings.Contains(got.Err.Error(), c.says) {
			t.Errorf("%s: %+v", c.name, got)
		}
	}
	if got := DewMargin(noon, Inputs{Temp: pa(15, 0)}, &wet); got.Status != sensors.Good || got.Value > -10 {
		t.Errorf("nothing else fitted: %+v", got)
	}
	if got := DewMargin(noon, Inputs{Temp: pa(45, 0), Flow: &bad, Suction: pa(500, 0)}, &wet); got.Status != sensors.Good {
		t.Errorf("flow bad, suction good: %+v", got)
	}
	much := pa(5000, 0)
	much.Status = sensors.ClippedHigh
	if got := DewMargin(noon, Inputs{Temp: pa(45, 0), Suction: much}, &wet); got.Status != sensors.Good {
		t.Errorf("much suction: %+v", got)
	}
	in := Inputs{Temp: pa(45, 1), Flow: pa(6, 0)}
	if n := testing.AllocsPerRun(100, func() { DewMargin(noon, in, &wet) }); n != 0 {
		t.Errorf("%g allocations", n)
	}
}

package report

import (
	"math"
	"testing"

	"charwarden/sensors"
)

func TestAbout(t *testing.T) {
	w := words{}
	kg, deg := w.measure(sensors.Mass), w.measure(sensors.Temperature)
	inF := words{units: Units{Temperature: Unit{"°F", 1.8, 32}}}
	for _, c := range []struct {
		got, want string
	}{
		{kg.about(4.633, 0.41), "4.6 kg, give or take 0.4"},
		{kg.aboutOf(4.633, 0.41, "charcoal"), "4.6 kg of charcoal, give or take 0.4"},
		{kg.about(4.633, 0.14), "4.63 kg, give or take 0.14"},
		{kg.about(4.633, 0), "4.63 kg"},
		{kg.about(-0.004, 0.03), "0.00 kg, give or take 0.03"},
		{kg.brief(104.6, 23), "100 ± 20 kg"},
		{kg.brief(104.6, 0.97), "104.6 ± 1.0 kg"},
		{deg.about(612.4, 4.8), "612 °C, give or take 5"},
		{deg.text(-40), "−40 °C"},
		{deg.text(math.NaN()), "no value"},
		{deg.about(math.NaN(), 3), "no value"},
		{inF.measure(sensors.Temperature).about(100, 2), "212 °F, give or take 4"},
		{inF.measure(sensors.Difference).about(100, 2), "180 °F, give or take 4"},
		{w.measure(sensors.Difference).text(12), "12 K"},
		{w.measure(sensors.Power).text(2050), "2.05 kW"},
		{w.measure(sensors.Humidity).text(0.55), "55 %"},
		{span(40_000), "40 s"}, {span(12 * 60_000), "12 min"}, {span(11_100_000), "3 h 05 min"}, {span(200_000_000), "2 days 8 h"},
		{listed([]string{"a", "b", "c"}), "a, b and c"},
		{count(1, "channel"), "1 channel"}, {count(3, "channel"), "3 channels"},
	} {
		if c.got != c.want {
			t.Errorf("%q, want %q", c.got, c.want)
		}
	}
}

func TestNumbers(t *testing.T) {
	for _, c := range []struct {
		lo, hi      float64
		tight       bool
		from, to    float64
		first, last string
	}{
		{0.4, 31.7, false, 0, 40, "0", "40"},
		{791, 2013, false, 0, 2500, "0", "2500"},
		{-0.3, 14, false, -0.3, 15, "0", "15"}, // noise about 0 gets no step of its own
		{-30, 80, false, -50, 100, "−50", "100"},
		{0.9, 4.3, true, 0.9, 4.3, "1", "4"},
		{70, 70, false, 69, 71, "69.0", "71.0"},
		{0, 0, false, 0, 1, "0.0", "1.0"},
		{math.Inf(1), math.Inf(-1), false, 0, 1, "0.0", "1.0"},
	} {
		a := numbers(c.lo, c.hi, 5, c.tight)
		if math.Abs(a.from-c.from)+math.Abs(a.to-c.to) > 1e-9 || a.ticks[0].text != c.first || a.ticks[len(a.ticks)-1].text != c.last {
			t.Errorf("%g to %g: %+v", c.lo, c.hi, a)
		}
	}
}

package config

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"charwarden/sensors"
)

// A unit is one way to write a value: SI = (written - zero) * factor. A
// difference has no zero: 20 degF of deadband are 11.1 degC.
type unit struct {
	name         string
	factor, zero float64
}

// A dimension is what a value measures, with every unit it may carry. The
// first unit stands in examples.
type dimension struct {
	what   string
	units  []unit
	sample string // to show how a value is written; else made of the first unit
}

// pound is 1 lb in kg (NIST SP 811 B.8, avoirdupois, exact).
const pound = 0.45359237

// Factors: NIST SP 811 (2008) appendix B.8; inH2O and mmH2O are the
// conventional ones (25.4 mm and 1 mm of water at 1000 kg/m3 and 9.80665
// m/s2). Fahrenheit: C = (F - 32) * 5/9, there too.
var (
	temperature = dimension{what: "temperature", units: []unit{
		{"°C", 1, 0}, {"degC", 1, 0}, {"°F", 5.0 / 9, 32}, {"degF", 5.0 / 9, 32}, {"K", 1, 273.15}}}
	pressure = dimension{what: "pressure", units: []unit{
		{"Pa", 1, 0}, {"kPa", 1000, 0}, {"hPa", 100, 0}, {"mbar", 100, 0}, {"bar", 1e5, 0},
		{"inH2O", 25.4 * 9.80665, 0}, {"mmH2O", 9.80665, 0}, {"psi", 6894.757, 0}}}
	concentration = dimension{what: "CO", units: []unit{{"ppm", 1, 0}}}
	speed         = dimension{what: "speed", units: []unit{{"rpm", 1, 0}}}
	voltage       = dimension{what: "voltage", units: []unit{{"V", 1, 0}, {"mV", 1e-3, 0}}}
	humidity      = dimension{what: "humidity", units: []unit{{"%", 0.01, 0}, {"ratio", 1, 0}}}
	carboxy       = dimension{what: "COHb", units: []unit{{"%", 1, 0}, {"percent", 1, 0}}}
	ratio         = dimension{what: "ratio", units: []unit{{"x", 1, 0}, {"%", 0.01, 0}, {"ratio", 1, 0}}}
	duration      = dimension{what: "time", units: []unit{
		{"s", 1, 0}, {"ms", 1e-3, 0}, {"min", 60, 0}, {"h", 3600, 0}, {"d", 86400, 0}}}
	gasFlow      = dimension{what: "gas flow", units: []unit{{"Nm3/h", 1, 0}, {"NL/s", 3.6, 0}}}
	mass         = dimension{what: "mass", units: []unit{{"kg", 1, 0}, {"g", 1e-3, 0}, {"lb", pound, 0}}}
	massFlow     = dimension{what: "mass flow", units: []unit{{"kg/h", 1, 0}, {"g/h", 1e-3, 0}, {"lb/h", pound, 0}}}
	heatingValue = dimension{what: "heating value", units: []unit{{"MJ/Nm3", 1, 0}, {"kJ/Nm3", 1e-3, 0}}}
	power        = dimension{what: "power", units: []unit{{"W", 1, 0}, {"kW", 1e3, 0}, {"hp", 745.6999, 0}}}
	kelvins      = dimension{what: "temperature difference", units: []unit{{"K", 1, 0}, {"degC", 1, 0}, {"degF", 5.0 / 9, 0}}}
	thickness    = dimension{what: "thickness", units: []unit{{"mm", 1, 0}, {"µm", 1e-3, 0}, {"in", 25.4, 0}}}
	leak         = dimension{what: "leak", units: []unit{{"Pa/min", 1, 0}, {"Pa/s", 60, 0}}}
	loading      = dimension{what: "loading", units: []unit{{"%", 1, 0}, {"percent", 1, 0}}}
	fraction     = dimension{what: "share", units: []unit{{"%", 0.01, 0}}}
	energy       = dimension{what: "heating value", units: []unit{{"MJ/kg", 1e6, 0}, {"kJ/kg", 1e3, 0}, {"kWh/kg", 3.6e6, 0}}}
	length       = dimension{what: "length", units: []unit{{"mm", 1e-3, 0}, {"cm", 1e-2, 0}, {"m", 1, 0}, {"in", 25.4e-3, 0}}}
	volume       = dimension{what: "volume", units: []unit{{"cc", 1e-6, 0}, {"cm3", 1e-6, 0}, {"L", 1e-3, 0}, {"m3", 1, 0}}}
	area         = dimension{what: "area", units: []unit{{"m2", 1, 0}, {"dm2", 1e-2, 0}, {"cm2", 1e-4, 0}}}

	sensitivity = dimension{what: "sensitivity", units: []unit{{"nA/ppm", 1e-9, 0}, {"pA/ppm", 1e-12, 0}}}
	resistance  = dimension{what: "resistance", units: []unit{
		{"kohm", 1e3, 0}, {"ohm", 1, 0}, {"Mohm", 1e6, 0}, {"kΩ", 1e3, 0}, {"Ω", 1, 0}, {"MΩ", 1e6, 0}}}
)

func dimensionOf(q sensors.Quantity) dimension {
	return [...]dimension{
		sensors.Temperature: temperature,
		sensors.Pressure:    pressure,
		sensors.CO:          concentration,
		sensors.Speed:       speed,
		sensors.Voltage:     voltage,
		sensors.Humidity:    humidity,
		sensors.Age:         duration,
		sensors.Mean:        concentration,
		sensors.COHb:        carboxy,
		sensors.Ratio:       ratio,

		sensors.GasFlow:      gasFlow,
		sensors.Mass:         mass,
		sensors.MassFlow:     massFlow,
		sensors.HeatingValue: heatingValue,
		sensors.Power:        power,
		sensors.Difference:   kelvins,
		sensors.Thickness:    thickness,
		sensors.Leak:         leak,
		sensors.Loading:      loading,
	}[q]
}

// ParseQuantity reads a value with its unit as people write it ("650 °C",
// "1200 degF", "1.2 inH2O", "35ppm") and returns it in q's own unit, see
// sensors.Quantity.Unit. A number without a unit, or with a unit of something
// else, is an error that lists what is allowed.
func ParseQuantity(s string, q sensors.Quantity) (float64, error) {
	return dimensionOf(q).parse(s)
}

// parse returns the absolute value in SI.
func (d dimension) parse(s string) (float64, error) {
	n, u, err := d.split(s)
	return (n - u.zero) * u.factor, err
}

// difference returns the distance between two values in SI: deadband, offset.
func (d dimension) difference(s string) (float64, error) {
	n, u, err := d.split(s)
	return n * u.factor, err
}

// rate returns a change in SI per second, from "20 degC/min".
func (d dimension) rate(s string) (float64, error) {
	left, per, found := cutLast(s, "/")
	for _, t := range duration.units {
		if !found || t.name != per {
			continue
		}
		if v, err := d.difference(left); err == nil {
			return v / t.factor, nil
		}
	}
	return 0, fmt.Errorf("%q: a rate is wanted: write \"5 %s/s\" (allowed: %s, each /ms, /s, /min, /h)", s, d.units[0].name, d.names())
}

// perMinute returns a change in SI per minute.
func (d dimension) perMinute(s string) (float64, error) {
	v, err := d.rate(s)
	return v * 60, err
}

// split parts a number from its unit. The space between them is optional.
func (d dimension) split(s string) (float64, unit, error) {
	s = strings.TrimSpace(s)
	end := numberEnd(s)
	n, err := strconv.ParseFloat(s[:end], 64)
	name := strings.TrimSpace(s[end:])
	switch {
	case end == 0 || err != nil:
		return 0, unit{}, fmt.Errorf("%q: no number to read: write %s (allowed units: %s)", s, d.example("1"), d.names())
	case strings.HasPrefix(name, ","):
		return 0, unit{}, fmt.Errorf("%q: write the decimals after a point, not a comma", s)
	case math.Abs(n) > 1e15:
		return 0, unit{}, fmt.Errorf("%q: too large", s)
	case name == "":
		return 0, unit{}, fmt.Errorf("%q: unit missing: write %s (allowed: %s)", s, d.example(s), d.names())
	}
	for _, u := range d.units {
		if u.name == name {
			return n, u, nil
		}
	}
	return 0, unit{}, fmt.Errorf("%q: %q is no unit of %s (allowed: %s)", s, name, d.what, d.names())
}

// example shows how to write number, or any other value.
func (d dimension) example(number string) string {
	if d.sample != "" {
		return strconv.Quote(d.sample)
	}
	return strconv.Quote(number + " " + d.units[0].name)
}

func (d dimension) names() string {
	names := make([]string, len(d.units))
	for i, u := range d.units {
		names[i] = u.name
	}
	return strings.Join(names, ", ")
}

// numberEnd returns the length of the decimal number that s begins with. It
// is narrower than ParseFloat: no hex, no "inf", no underscores.
func numberEnd(s string) int {
	digits := func(i int) int {
		for i < len(s) && s[i] >= '0' && s[i] <= '9' {
			i++
		}
		return i
	}
	sign := func(i int) int {
		if i < len(s) && (s[i] == '-' || s[i] == '+') {
			i++
		}
		return i
	}
	start := sign(0)
	end := digits(start)
	if end < len(s) && s[end] == '.' {
		if frac := digits(end + 1); frac > end+1 {
			end = frac
		}
	}
	if end == start {
		return 0
	}
	if end < len(s) && (s[end] == 'e' || s[end] == 'E') {
		if from := sign(end + 1); digits(from) > from {
			end = digits(from)
		}
	}
	return end
}

func cutLast(s, sep string) (before, after string, found bool) {
	i := strings.LastIndex(s, sep)
	if i < 0 {
		return s, "", false
	}
	return s[:i], strings.TrimSpace(s[i+len(sep):]), true
}

package config

import (
	"fmt"
	"math"
	"strings"
	"time"

	"charwarden/sensors"
)

// Display is how people see values; everything inside stays SI. The zero
// value shows degC, Pa and kg.
type Display struct {
	Temperature string // "degC", "degF" or "K"
	Pressure    string // "Pa", "kPa", "hPa", "mbar", "inH2O", "mmH2O" or "psi"
	Mass        string // "kg" or "lb"
}

// decimals of a shown value, by unit: about the resolution of the sensors.
var decimals = map[string]int{
	"degC": 1, "degF": 1, "K": 1, "kg": 2, "lb": 2,
	"Pa": 0, "kPa": 2, "hPa": 1, "mbar": 1, "inH2O": 2, "mmH2O": 1, "psi": 3,
}

// Words that [display] accepts, the default first.
var (
	temperatureWords = []string{"degC", "degF", "K"}
	pressureWords    = []string{"Pa", "kPa", "hPa", "mbar", "inH2O", "mmH2O", "psi"}
	massWords        = []string{"kg", "lb"}
)

// Format returns value, given in q's own unit, as a person wants to read it:
// "650.0 °C", "1.00 inH2O", "40 %", "3 d 4 h". NaN is "no value".
func (d Display) Format(q sensors.Quantity, value float64) string {
	if math.IsNaN(value) {
		return "no value"
	}
	switch q {
	case sensors.Temperature:
		return show(temperature, d.Temperature, value)
	case sensors.Pressure:
		return show(pressure, d.Pressure, value)
	case sensors.Voltage:
		return fmt.Sprintf("%.2f V", value)
	case sensors.Humidity:
		return fmt.Sprintf("%.0f %%", value*100)
	case sensors.Age:
		return formatAge(value)
	case sensors.COHb:
		return fmt.Sprintf("%.1f %%", value)
	case sensors.Ratio:
		return fmt.Sprintf("%.2f x", value)
	case sensors.Mass:
		return d.FormatMass(value)
	case sensors.MassFlow:
		return d.FormatMass(value) + "/h"
	case sensors.GasFlow, sensors.HeatingValue:
		return fmt.Sprintf("%.1f %s", value, q.Unit())
	case sensors.Thickness:
		return fmt.Sprintf("%.3f mm", value)
	case sensors.Loading:
		return fmt.Sprintf("%.0f %%", value)
	default:
		return fmt.Sprintf("%.0f %s", value, q.Unit())
	}
}

// FormatMass returns kg as a person wants to read it.
func (d Display) FormatMass(kg float64) string {
	if math.IsNaN(kg) {
		return "no value"
	}
	if d.Mass == "lb" {
		return fmt.Sprintf("%.2f lb", kg/pound)
	}
	return fmt.Sprintf("%.2f kg", kg)
}

// Scale is how a quantity is shown of which people choose the unit: a value in
// SI times factor, plus zero, in unit. Others are shown as they are.
func (d Display) Scale(q sensors.Quantity) (unit string, factor, zero float64) {
	switch q {
	case sensors.Temperature:
		u := temperature.chosen(d.Temperature)
		return strings.Replace(u.name, "deg", "°", 1), 1 / u.factor, u.zero
	case sensors.Pressure:
		u := pressure.chosen(d.Pressure)
		return u.name, 1 / u.factor, u.zero
	case sensors.Mass:
		if d.Mass == "lb" {
			return "lb", 1 / pound, 0
		}
	}
	return q.Unit(), 1, 0
}

// chosen is the unit called name, or the dimension's first.
func (d *dimension) chosen(name string) unit {
	if name == "" {
		name = map[string]string{"°C": "degC"}[d.units[0].name]
	}
	for _, u := range d.units {
		if u.name == name {
			return u
		}
	}
	return d.units[0]
}

// show converts value from SI into the unit called name, or leaves it in the
// dimension's first unit.
func show(d dimension, name string, value float64) string {
	chosen := d.chosen(name)
	text := fmt.Sprintf("%.*f", decimals[chosen.name], value/chosen.factor+chosen.zero)
	if strings.Trim(text, "-0.") == "" {
		text = strings.TrimPrefix(text, "-") // no "-0 Pa"
	}
	return text + " " + strings.Replace(chosen.name, "deg", "°", 1)
}

// formatAge returns seconds in the two largest units that are not zero.
func formatAge(seconds float64) string {
	if math.Abs(seconds) > 1e9 {
		return fmt.Sprintf("%.0f d", seconds/86400)
	}
	return human(time.Duration(seconds) * time.Second)
}

// human writes a duration in the file's units: "100 ms", "2 min", "3 d 4 h".
func human(d time.Duration) string {
	if d < 0 {
		return "-" + human(-d)
	}
	steps := []struct {
		d    time.Duration
		name string
	}{{24 * time.Hour, "d"}, {time.Hour, "h"}, {time.Minute, "min"}, {time.Second, "s"}, {time.Millisecond, "ms"}}
	var parts []string
	for _, s := range steps {
		if n := d / s.d; n > 0 && len(parts) < 2 {
			parts = append(parts, fmt.Sprintf("%d %s", n, s.name))
			d -= n * s.d
		}
	}
	if len(parts) == 0 {
		return "0 s"
	}
	return strings.Join(parts, " ")
}

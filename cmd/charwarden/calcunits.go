package main

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"charwarden/config"
	"charwarden/sensors"
)

// measure is how a flag's number may be written: plain, in unit, or with a
// unit. It is reckoned with in the base unit, of which unit is so many.
type measure struct {
	unit   string  // of a plain number; "" has none
	noun   string  // what it is then: fraction, ratio
	base   float64 // base units in one
	q      sensors.Quantity
	others []otherUnit // allowed units if config has no such quantity
}

type otherUnit struct {
	name string
	base float64
}

// Of config's quantities; base: fraction, degC, Pa, rpm, min, Nm3/h, kg, kg/h, W, mm.
var (
	inFraction = &measure{noun: "fraction", base: 1, q: sensors.Ratio}
	inRatio    = &measure{noun: "ratio", base: 1, q: sensors.Ratio}
	inDegC     = &measure{unit: "degC", base: 1, q: sensors.Temperature}
	inKPa      = &measure{unit: "kPa", base: 1000, q: sensors.Pressure}
	inPa       = &measure{unit: "Pa", base: 1, q: sensors.Pressure}
	inRPM      = &measure{unit: "rpm", base: 1, q: sensors.Speed}
	inMinutes  = &measure{unit: "min", base: 60, q: sensors.Age}
	inHours    = &measure{unit: "h", base: 3600, q: sensors.Age}
	inNm3h     = &measure{unit: "Nm3/h", base: 1, q: sensors.GasFlow}
	inKg       = &measure{unit: "kg", base: 1, q: sensors.Mass}
	inKgh      = &measure{unit: "kg/h", base: 1, q: sensors.MassFlow}
)

// Of the bench only; base: J/kg, m3, m, m2, kg/m3. Factors: NIST SP 811 (2008)
// appendix B.8.
var (
	inMJkg    = &measure{unit: "MJ/kg", base: 1e6, others: []otherUnit{{"MJ/kg", 1e6}, {"kJ/kg", 1e3}, {"kWh/kg", 3.6e6}}}
	inCC      = &measure{unit: "cc", base: 1e-6, others: []otherUnit{{"cc", 1e-6}, {"cm3", 1e-6}, {"L", 1e-3}, {"m3", 1}}}
	inLitres  = &measure{unit: "L", base: 1e-3, others: inCC.others}
	inMM      = &measure{unit: "mm", base: 1e-3, others: []otherUnit{{"mm", 1e-3}, {"cm", 1e-2}, {"m", 1}, {"in", 25.4e-3}}}
	inMetres  = &measure{unit: "m", base: 1, others: inMM.others}
	inM2      = &measure{unit: "m2", base: 1, others: []otherUnit{{"m2", 1}, {"dm2", 1e-2}, {"cm2", 1e-4}}}
	inDensity = &measure{unit: "kg/m3", base: 1, others: []otherUnit{{"kg/m3", 1}, {"g/L", 1}, {"kg/L", 1e3}}}
	inPerM    = &measure{unit: "1/m", base: 1, others: []otherUnit{{"1/m", 1}}}
)

// parse reads a number and returns it in the base unit.
func (m *measure) parse(s string) (float64, error) {
	s = strings.TrimSpace(s)
	v, err := strconv.ParseFloat(s, 64)
	switch {
	case err == nil:
		v *= m.base
	case m.others == nil:
		v, err = config.ParseQuantity(s, m.q)
	default:
		v, err = m.other(s)
	}
	if err == nil && (math.IsNaN(v) || math.IsInf(v, 0)) {
		err = fmt.Errorf("%q: a number is wanted", s)
	}
	return v, err
}

// other reads a number with one of the units that config has not.
func (m *measure) other(s string) (float64, error) {
	var names []string
	for _, u := range m.others {
		names = append(names, u.name)
		number, ok := strings.CutSuffix(s, u.name)
		if !ok {
			continue
		}
		if v, err := strconv.ParseFloat(strings.TrimSpace(number), 64); err == nil {
			return v * u.base, nil
		}
	}
	return 0, fmt.Errorf("%q: write a number in %s, or one with a unit (allowed: %s)", s, m.unit, strings.Join(names, ", "))
}

// plain is a value of the base unit in that of a plain number.
func (m *measure) plain(v float64) float64 { return v / m.base }

// suffix is the unit as an axis has it behind its name.
func (m *measure) suffix() string { return ", " + asPrinted(m.unit+m.noun) }

// text is a value of the base unit as it may be written on a flag.
func (m *measure) text(v float64) string {
	return strings.TrimSpace(strconv.FormatFloat(m.plain(v), 'g', 6, 64) + " " + m.unit)
}

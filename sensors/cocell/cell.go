package cocell

import (
	"errors"
	"fmt"
	"math"
)

const (
	railMargin = 0.010 // V: an output so near to a rail has left the straight line
	driftPPM   = 5     // below zero by more than this is a fault, not noise

	// Shares of the reading, both one half width. Linearity: Figaro product
	// information TGS5042 and TGS5141, 5 %. Loss of signal between two yearly
	// calibrations: Alphasense CO-B4 datasheet, under 10 % a year.
	linearity = 0.05
	ageing    = 0.10

	// Where the cell may be when nobody knows its temperature, degC: the span
	// of Figaro's own tables.
	coldest, hottest = -10, 50
)

// Cell is one cell and its amplifier. It is plain data; check it once with
// Validate. Cells are taken as current = NanoampPerPPM x factor(T) x ppm, the
// factor being 1 at 20 degC (Figaro, Application Notes for TGS5xxx series,
// rev. 12/25, 6-3 and 6-4).
type Cell struct {
	NanoampPerPPM float64 // at 20 degC, as printed on the cell
	Ohms          float64 // feedback resistor
	CleanAirV     float64 // output in clean air: the zero
	Inverting     bool    // gas lowers the output
	FullScalePPM  float64 // above this the cell is not specified
	Table         []Point // temperature factor; empty: 1 everywhere
	MinV, MaxV    float64 // output rails of the amplifier
}

// Validate reports every reason why the cell cannot be used as described.
func (c *Cell) Validate() error {
	var all []error
	bad := func(format string, args ...any) { all = append(all, fmt.Errorf("cocell: "+format, args...)) }
	positive := true
	for _, v := range []struct {
		name  string
		value float64
	}{{"sensitivity (nA/ppm)", c.NanoampPerPPM}, {"feedback resistor (ohm)", c.Ohms}, {"full scale (ppm)", c.FullScalePPM}} {
		if !(v.value > 0) || math.IsInf(v.value, 0) {
			bad("%s is %v: must be above 0", v.name, v.value)
			positive = false
		}
	}
	rails := c.CleanAirV > c.MinV+railMargin && c.CleanAirV < c.MaxV-railMargin
	if !rails {
		bad("clean air at %v V: must lie between the rails %v V and %v V, %v V off each", c.CleanAirV, c.MinV, c.MaxV, railMargin)
	}
	if positive && rails {
		if v := c.line(c.FullScalePPM, 1); c.atRail(v) {
			bad("full scale of %v ppm needs an output of %.3f V, at or beyond a rail (%v V, %v V): lower the full scale or the resistor",
				c.FullScalePPM, v, c.MinV, c.MaxV)
		}
	}
	if err := checkTable(c.Table); err != nil {
		all = append(all, err)
	}
	return errors.Join(all...)
}

// PPM returns the CO in ppm at an output in V with the cell at tempC, NaN where
// that is unknown (factor 1). Down to 5 ppm below zero the result is a number,
// negative ones included. Errors come with NaN: *ClipError, *DriftError, or a
// plain one for what is not a number.
func (c *Cell) PPM(volts, tempC float64) (float64, error) {
	ppm := (volts - c.CleanAirV) / c.voltsPerPPM(factor(c.Table, tempC))
	switch {
	case math.IsNaN(ppm):
		return math.NaN(), fmt.Errorf("cocell: %v V: no concentration", volts)
	case c.atRail(volts), ppm > c.FullScalePPM:
		return math.NaN(), &ClipError{Volts: volts, FullScalePPM: c.FullScalePPM, high: ppm > 0}
	case ppm < -driftPPM:
		return math.NaN(), &DriftError{Volts: volts, PPM: ppm}
	}
	return ppm, nil
}

// Volts returns the output in V at ppm and tempC (NaN: factor 1): what a
// faultless cell shows, rails included, for simulation and tests.
func (c *Cell) Volts(ppm, tempC float64) float64 {
	return min(max(c.line(ppm, factor(c.Table, tempC)), c.MinV), c.MaxV)
}

// Uncertainty returns the half width in ppm, never negative: 5 ppm for a zero
// that may be off so far unnoticed, 15 % of the reading for linearity and a
// year's ageing and, where the temperature is unknown or the cell has no
// table, the worst that -10..50 degC can do to it (without a table: to a
// TGS5141, the steepest of the tables there). Other gases are not in it.
func (c *Cell) Uncertainty(ppm float64, tempKnown bool) float64 {
	table := c.Table
	if len(table) == 0 {
		table, tempKnown = TGS5141, false
	}
	share := linearity + ageing
	if !tempKnown {
		share += worstFactor(table)
	}
	return driftPPM + share*math.Abs(ppm)
}

func (c *Cell) line(ppm, factor float64) float64 { return c.CleanAirV + c.voltsPerPPM(factor)*ppm }

func (c *Cell) voltsPerPPM(factor float64) float64 {
	v := c.NanoampPerPPM * 1e-9 * c.Ohms * factor
	if c.Inverting {
		return -v
	}
	return v
}

func (c *Cell) atRail(volts float64) bool {
	return volts <= c.MinV+railMargin || volts >= c.MaxV-railMargin
}

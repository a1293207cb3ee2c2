// Package fuel reckons the charcoal: what is burnt, what the hopper still holds
// and how long that lasts.
package fuel

import (
	"fmt"
	"math"

	"charwarden/sensors/derive/gas"
)

// Yield is how many Nm3 of gas one kg of charcoal as fired makes, by the carbon
// balance: carbon is its mass fraction as fired, lost the share of it that goes
// with ash and dust, g the gas, wet or dry as the Nm3 shall be. Where exhaust is
// led back its carbon is in the gas too, which the hearth's balance knows and
// this does not.
func Yield(carbon, lost float64, g *gas.Mix) float64 {
	return carbon * (1 - lost) / g.Carbon()
}

// RunTime is how long in h a hopper of volume in m3 lasts, filled with charcoal
// of a bulk density in kg/m3, down to a heel (a share of it), at use in kg/h.
func RunTime(volume, density, heel, use float64) float64 {
	return volume * density * (1 - heel) / use
}

// Opts of a Hopper.
type Opts struct {
	Capacity float64 // kg that hopper and bed hold; 0: not known
	Heel     float64 // kg at which to refuel
	Yield    float64 // Nm3 wet gas per kg as fired, until Gas says better; above 0
}

func (o Opts) check() error {
	switch {
	case !(o.Yield > 0.5 && o.Yield < 20):
		return fmt.Errorf("fuel: %g Nm3 of gas per kg: want 0.5 to 20", o.Yield)
	case !(o.Heel >= 0 && o.Heel < 1e4) || !(o.Capacity >= 0 && o.Capacity < 1e4):
		return fmt.Errorf("fuel: hopper of %g kg with a heel of %g kg: want 0 to 10000", o.Capacity, o.Heel)
	}
	return nil
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

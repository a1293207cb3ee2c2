package flow

import (
	"math"

	"charwarden/sensors/derive/gas"
)

// Fluid is a gas as it is in the line.
type Fluid struct {
	Gas      gas.Mix // mole fractions
	Temp     float64 // degC
	Pressure float64 // Pa absolute
}

func (f *Fluid) density() float64 { return f.Gas.Density(f.Pressure, f.Temp+gas.ZeroC) }

// normal is how many Nm3 a m3 of it is.
func (f *Fluid) normal() float64 { return f.Pressure / gas.Atm * gas.ZeroC / (f.Temp + gas.ZeroC) }

// Nozzle that the blast goes through into the hearth.
type Nozzle struct {
	Bore      float64 // m; n equal nozzles count as one of Bore sqrt(n)
	Discharge float64 // what it passes over what an ideal one would, 0.4 to 1: 0.61 with a sharp edge, 0.8 for a short tube
}

func (n *Nozzle) area() float64 { return math.Pi / 4 * n.Bore * n.Bore }

// Drop is the pressure in Pa that the nozzle takes when q Nm3/h of f goes
// through it, f being as it is before it:
//
//	dp = rho/2 (v/Cd)^2, v = flow/area
//
// (Bernoulli; the orifice equation of ISO 5167 for a bore that is small against
// the line's and a drop below 2 % of the pressure.) Backward flow gives a drop
// below 0.
func (n *Nozzle) Drop(f *Fluid, q float64) float64 {
	v := q / 3600 / f.normal() / n.area() / n.Discharge
	return f.density() / 2 * v * math.Abs(v)
}

// Flow is the Nm3/h of f that go through the nozzle at a drop in Pa: the inverse
// of Drop.
func (n *Nozzle) Flow(f *Fluid, drop float64) float64 {
	v := n.Discharge * math.Sqrt(2*math.Abs(drop)/f.density())
	return math.Copysign(v, drop) * n.area() * f.normal() * 3600
}

// Calibrated is the nozzle that passes q Nm3/h of f at a drop in Pa, both above 0.
func Calibrated(f *Fluid, q, drop float64) Nozzle {
	n := Nozzle{Bore: 1, Discharge: 1}
	n.Bore = math.Sqrt(q / n.Flow(f, drop))
	return n
}

// Bed of charcoal that gas is drawn through. All are above 0.
type Bed struct {
	Width      float64 // m, diameter across the flow
	Depth      float64 // m, along it
	Piece      float64 // m, of a ball of the pieces' volume
	Void       float64 // share of the bed that is not charcoal: 0.36 packed fines, 0.45 sieved pieces
	Sphericity float64 // a ball's surface over the piece's: some 0.6 to 0.7
}

// Drop is the pressure in Pa that the bed takes when q Nm3/h of f, at its state
// there, goes through it (Ergun, Chemical Engineering Progress 48 (1952) 89, from
// memory):
//
//	dp/L = 150 mu v (1-e)^2/(phi d)^2/e^3 + 1.75 rho v^2 (1-e)/(phi d)/e^3
//
// with v of the empty bed. Of sieved pieces it is a few Pa, small against the
// nozzle's; of fines hundreds: what suction has more than the nozzle's Drop tells them.
func (b *Bed) Drop(f *Fluid, q float64) float64 {
	v := q / 3600 / f.normal() / (math.Pi / 4 * b.Width * b.Width)
	return b.ergun(v, f.density(), f.Gas.Viscosity(f.Temp+gas.ZeroC))
}

func (b *Bed) ergun(v, density, viscosity float64) float64 {
	d, solid, e3 := b.Sphericity*b.Piece, 1-b.Void, b.Void*b.Void*b.Void
	return b.Depth * v * solid / d / e3 * (150*viscosity*solid/d + 1.75*density*math.Abs(v))
}

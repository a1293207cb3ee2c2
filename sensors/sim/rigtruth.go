package sim

import "time"

// WallNear is the shell beside the nozzle as its couple feels it, degC.
func (r *Rig) WallNear(t time.Time) float64 { return r.at(t, qWallNear) }

// WallFar is the shell opposite the nozzle, degC.
func (r *Rig) WallFar(t time.Time) float64 { return r.at(t, qWallFar) }

// GasOut is the gas as it leaves the reactor, degC.
func (r *Rig) GasOut(t time.Time) float64 { return r.at(t, qGasOut) }

// FilterIn is the gas behind the cooler, degC.
func (r *Rig) FilterIn(t time.Time) float64 { return r.at(t, qFilterIn) }

// FilterOut is the gas behind the filter, degC.
func (r *Rig) FilterOut(t time.Time) float64 { return r.at(t, qFilterOut) }

// ReturnLine is the exhaust on its way back to the nozzle, degC.
func (r *Rig) ReturnLine(t time.Time) float64 { return r.at(t, qReturnLine) }

// Suction is how far the reactor's outlet is below the air, Pa; a little
// negative when the sealed bed makes gas.
func (r *Rig) Suction(t time.Time) float64 { return r.at(t, qSuction) }

// FilterDrop is the pressure that the filter takes, as its tubes show it, Pa.
func (r *Rig) FilterDrop(t time.Time) float64 { return r.at(t, qFilterDrop) }

// CO is the carbon monoxide where the operator stands, ppm.
func (r *Rig) CO(t time.Time) float64 { return r.at(t, qCO) }

// Speed of the engine, rpm.
func (r *Rig) Speed(t time.Time) float64 { return r.at(t, qSpeed) }

// Supply is the 12 V battery that the starter, the blower and the board share, V.
func (r *Rig) Supply(t time.Time) float64 { return r.at(t, qSupply) }

// AirTemp is the air around the rig, degC.
func (r *Rig) AirTemp(t time.Time) float64 { return r.at(t, qAirTemp) }

// AirPressure is the air's absolute pressure, Pa.
func (r *Rig) AirPressure(t time.Time) float64 { return r.at(t, qAirPressure) }

// AirHumidity is the air's relative humidity, 0..1.
func (r *Rig) AirHumidity(t time.Time) float64 { return r.at(t, qAirHumidity) }

// What no sensor shows: the truth that reckoned channels are held against.

// CharcoalLeft is what the hopper and the bed hold, kg.
func (r *Rig) CharcoalLeft(t time.Time) float64 { return r.at(t, qCharcoal) }

// GasFlow is the wet gas that is drawn out of the hearth, Nm3/h at 0 degC and
// 101.325 kPa; 0 in a rig that stands still, whatever seeps out of it.
func (r *Rig) GasFlow(t time.Time) float64 { return r.at(t, qGasFlow) }

// EngineFlow is what of it passes the filter to the engine, with the air that
// leaks in before the filter, Nm3/h.
func (r *Rig) EngineFlow(t time.Time) float64 { return r.at(t, qEngineFlow) }

// FilterLoad is the filter's resistance with its dust and water in that of
// the clean medium: 1 is clean.
func (r *Rig) FilterLoad(t time.Time) float64 { return r.at(t, qFilterLoad) }

// BedExit is the gas where it leaves the glowing bed, degC.
func (r *Rig) BedExit(t time.Time) float64 { return r.at(t, qBedExit) }

// Strength is the lower heating value of the wet gas out of the hearth, J/Nm3.
// In a rig that stands still it is the gas that was made last.
func (r *Rig) Strength(t time.Time) float64 { return r.at(t, qStrength) }

// ReturnShare is the exhaust in the blast through the nozzle, moles in moles
// of blast: 0 while the engine stands.
func (r *Rig) ReturnShare(t time.Time) float64 { return r.at(t, qReturnShare) }

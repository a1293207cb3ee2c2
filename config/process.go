package config

import (
	"charwarden/sensors"
	"charwarden/sensors/derive/hearth"
)

// Charcoal is what is burnt.
type Charcoal struct {
	Fuel     hearth.Fuel
	Moisture float64 // kg water per kg as fired, 0..1
	Hopper   float64 // kg that it holds; 0 = not in the file
	Heel     float64 // kg at which to refuel
}

// Hearth is what no sensor tells of the fire.
type Hearth struct {
	Loss     float64 // of the charcoal's lower heating value, 0..1
	WallArea float64 // m2 of hot shell, from whose temperature the loss is reckoned; 0 = Loss is taken
	Return   float64 // moles of exhaust per mole of blast at the usual setting of the valve, 0..1
}

// Nozzle makes a flow meter of the suction. The zero value is none.
type Nozzle struct {
	Bore      float64 // m
	Discharge float64 // coefficient
	Gas       float64 // Nm3/h at the clean suction, weighed or reckoned: goes before Bore; 0 = not in the file
}

// Engine is the one that draws the gas. The zero value is none.
type Engine struct {
	Displacement         float64 // m3
	VolumetricEfficiency float64 // 0..1
	IndicatedEfficiency  float64 // 0..1
	Manifold             string  // channel of the absolute pressure behind the throttle; "" = not fitted
}

// process reads the tables of what no sensor shows.
func (f *file) process(c *Config) {
	usual := hearth.Default()

	t := f.table("charcoal")
	c.Charcoal.Fuel = hearth.Fuel{
		Carbon:   t.share("carbon", usual.Fuel.Carbon, 0.75, 0.97),
		Hydrogen: t.share("hydrogen", usual.Fuel.Hydrogen, 0, 0.04),
		Oxygen:   t.share("oxygen", usual.Fuel.Oxygen, 0, 0.15),
		Ash:      t.share("ash", usual.Fuel.Ash, 0, 0.25),
		HHV:      t.within("heat", energy, 0, 20e6, 36e6),
	}
	if u := c.Charcoal.Fuel; u.Carbon+u.Hydrogen+u.Oxygen+u.Ash > 1+1e-9 {
		t.fail("carbon", "carbon, hydrogen, oxygen and ash are more than 100 %% together")
	}
	c.Charcoal.Moisture = t.share("moisture", usual.Moisture, 0, 0.25)
	c.Charcoal.Hopper = t.within("hopper", mass, 0, 0.1, 1000)
	c.Charcoal.Heel = t.within("heel", mass, 0, 0, 1000)
	if c.Charcoal.Hopper > 0 && c.Charcoal.Heel >= c.Charcoal.Hopper {
		t.fail("heel", "%s: not less than the hopper holds", written(t.values["heel"]))
	}
	t.done()

	t = f.table("hearth")
	c.Hearth = Hearth{
		Loss:     t.share("loss", usual.Loss, 0, 0.25),
		WallArea: t.within("wall_area", area, 0, 0.01, 10),
		Return:   t.share("return", 0, 0, 0.4),
	}
	t.done()

	t = f.table("nozzle")
	c.Nozzle.Bore = t.within("bore", length, 0, 1e-3, 0.2)
	c.Nozzle.Discharge = t.number("discharge", 0.8, 0.4, 1)
	c.Nozzle.Gas = t.within("gas", gasFlow, 0, 0.1, 1000)
	if len(t.values) > 0 && c.Nozzle.Bore == 0 && c.Nozzle.Gas == 0 && !t.broken {
		t.fail("bore", "missing: give bore, or gas: the gas flow at the clean value of the suction")
	}
	if c.Nozzle.Gas > 0 && c.Roles.CleanSuction == 0 {
		t.fail("gas", "needs a [[pressure]] with watch = \"suction\" and its clean value, at which this flow was")
	}
	t.done()

	t = f.table("engine")
	c.Engine.Displacement = t.within("displacement", volume, 0, 20e-6, 5e-3)
	c.Engine.VolumetricEfficiency = t.share("volumetric_efficiency", 0.80, 0.3, 1.2)
	c.Engine.IndicatedEfficiency = t.share("indicated_efficiency", 0.30, 0.1, 0.5)
	c.Engine.Manifold = t.text("manifold", "")
	t.refer("manifold", c.Engine.Manifold, sensors.Pressure)
	if len(t.values) > 0 {
		t.require("displacement")
	}
	t.done()
}

// share returns a share of 1 that is written in percent, or def.
func (t *table) share(key string, def, lo, hi float64) float64 {
	v, ok := t.measure(key, fraction.parse, fraction)
	if !ok {
		return def
	}
	if !(v >= lo && v <= hi) {
		t.fail(key, "%s: out of range (allowed: %g %% to %g %%)", written(t.values[key]), lo*100, hi*100)
		return def
	}
	return v
}

// within returns a value of d within lo..hi, in SI, or def.
func (t *table) within(key string, d dimension, def, lo, hi float64) float64 {
	v, ok := t.measure(key, d.parse, d)
	if !ok {
		return def
	}
	if !(v >= lo && v <= hi) {
		u := d.units[0]
		t.fail(key, "%s: out of range (allowed: %.4g %s to %.4g %s)", written(t.values[key]), lo/u.factor, u.name, hi/u.factor, u.name)
		return def
	}
	return v
}

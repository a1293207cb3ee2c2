package config

import (
	"charwarden/alarms"
	"charwarden/sensors"
	"charwarden/sensors/derive/filter"
)

// What follows the name of a wall in the names of its derived channels.
const (
	wallOver    = "_over"
	wallReaches = "_reaches"
	wallHotter  = "_hotter"
	wallScale   = "_scale"
)

// reckonedNames are the channels that are reckoned from those of several
// sensors, each with the end of what it can say; see Config.Derived.
var reckonedNames = []struct {
	name string
	q    sensors.Quantity
	high float64
}{
	{"gas_flow", sensors.GasFlow, 1000},
	{filter.Channel, sensors.Loading, 1e4},
	{"filter_clean_mass", sensors.Mass, 1e4},
	{"filter_clean_time", sensors.Age, ever},
	{"filter_dew_margin", sensors.Difference, 500},
	{"charcoal_flow", sensors.MassFlow, 1000},
	{"charcoal_burnt", sensors.Mass, 1e5},
	{"charcoal_left", sensors.Mass, 1e4},
	{"charcoal_time", sensors.Age, ever},
	{"bed_exit", sensors.Temperature, 2000},
	{"gas_heat", sensors.HeatingValue, 20},
	{"air_need", sensors.Ratio, 10},
	{"shaft_power", sensors.Power, 1e5},
	{"wall_cold_time", sensors.Age, ever},
	{"cooldown_tau", sensors.Age, ever},
	{"seal_health", sensors.Ratio, 10},
	{"reignition", sensors.Difference, 2000},
	{"hold_leak", sensors.Leak, 1e6},
}

// reckoned adds the channels of what no sensor shows, as far as the sensors
// that they need are there.
func (f *file) reckoned(c *Config) {
	r := &c.Roles
	add := func(name string, rules ...alarms.Rule) {
		for _, n := range reckonedNames {
			if n.name == name {
				f.own(fromAll, name, n.q, n.high).low = -n.high
			}
		}
		f.give(rules...)
	}
	nozzle := r.Suction != "" && (c.Nozzle.Bore > 0 || c.Nozzle.Gas > 0)
	engine := r.Speed != "" && c.Engine.Displacement > 0
	flow := nozzle || engine
	measured := nozzle || engine && c.Engine.Manifold != "" // speed alone does not know the throttle
	r.Scale = f.only("scale")
	if flow {
		add("gas_flow")
	}
	if r.FilterDrop != "" && (r.CleanDrop > 0 && r.CleanSuction > 0 || measured) {
		r.FilterLoading = filter.Channel
		add(filter.Channel, alarms.FilterLoadingRules(filter.Channel, r.Suction, r.CleanSuction)...)
	}
	if flow || r.Scale != "" {
		add("charcoal_flow")
		add("charcoal_burnt")
		add("charcoal_left")
		add("charcoal_time", alarms.RefuelRule("charcoal_time"))
		if r.FilterLoading != "" {
			add("filter_clean_mass")
			add("filter_clean_time")
		}
	}
	if flow {
		if r.FilterIn != "" {
			add("filter_dew_margin", alarms.DewRule("filter_dew_margin"))
		}
		add("bed_exit", alarms.QuenchRule("bed_exit"))
		add("gas_heat")
		add("air_need")
		if engine {
			add("shaft_power")
		}
	}
	if len(f.roles["wall"]) > 0 {
		add("wall_cold_time")
		add("cooldown_tau")
		add("seal_health", alarms.SealRule("seal_health"))
		add("reignition", alarms.ReignitionRule("reignition"))
	}
	if r.Suction != "" {
		add("hold_leak")
	}
	for _, w := range f.roles["wall"] {
		w.wallChannels()
	}
}

// wallChannels adds what is reckoned from one wall.
func (w *channel) wallChannels() {
	f := w.table.f
	derive := func(what string, q sensors.Quantity, high float64) string {
		ch := w.table.derive(sensors.Channel{Name: w.Name + what, Quantity: q, Period: w.Period}, high)
		ch.origin, ch.low = fromWall, -high
		return ch.Name
	}
	derive(wallOver, sensors.Age, ever)
	derive(wallReaches, sensors.Age, ever)
	hotter := derive(wallHotter, sensors.Difference, 2000)
	if w.steel == alarms.CarbonSteel {
		derive(wallScale, sensors.Thickness, 100)
	}
	f.give(alarms.HotterRule(hotter))
}

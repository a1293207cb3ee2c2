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
	{"return_margin", sensors.Ratio, 1},
	{"shaft_power", sensors.Power, 1e5},
	{"wall_cold_time", sensors.Age, ever},
	{"cooldown_tau", sensors.Age, ever},
	{"seal_health", sensors.Ratio, 10},
	{"reignition", sensors.Difference, 2000},
	{"hold_leak", sensors.Leak, 1e6},
}

// Reckonable returns the names of the derived channels that can be reckoned from
// the sensors' channels that are fitted, but for those of CO cells and of the
// daemon's own work: in the order in which they follow from each other.
func (c *Config) Reckonable(fitted func(channel string) bool) (names []string) {
	r := &c.Roles
	has := func(ch string) bool { return ch != "" && fitted(ch) }
	add := func(all ...string) { names = append(names, all...) }
	nozzle := has(r.Suction) && (c.Nozzle.Bore > 0 || c.Nozzle.Gas > 0)
	engine := has(r.Speed) && c.Engine.Displacement > 0
	flow := nozzle || engine
	measured := nozzle || engine && has(c.Engine.Manifold) // speed alone does not know the throttle
	loading := has(r.FilterDrop) && (measured || has(r.Suction) && r.CleanDrop > 0 && r.CleanSuction > 0)
	if flow {
		add("gas_flow")
	}
	if loading {
		add(filter.Channel)
	}
	if flow || has(r.Scale) {
		add("charcoal_flow", "charcoal_burnt", "charcoal_left", "charcoal_time")
		if loading {
			add("filter_clean_mass", "filter_clean_time")
		}
	}
	if flow {
		if has(r.FilterIn) {
			add("filter_dew_margin")
		}
		add("bed_exit", "gas_heat", "air_need", "return_margin")
		if engine {
			add("shaft_power")
		}
	}
	walls := false
	for i, w := range r.Walls {
		if !has(w) {
			continue
		}
		walls = true
		add(w+wallOver, w+wallReaches, w+wallHotter)
		if r.Steels[i] == alarms.CarbonSteel {
			add(w + wallScale)
		}
	}
	if walls {
		add("wall_cold_time", "cooldown_tau", "seal_health", "reignition")
	}
	if has(r.Suction) {
		add("hold_leak")
	}
	return names
}

// reckoned adds the channels of what no sensor shows, as far as the sensors
// that they need are there, and the rules on them.
func (f *file) reckoned(c *Config) {
	r := &c.Roles
	r.Scale = f.only("scale")
	for _, w := range f.roles["wall"] {
		w.wallChannels()
	}
	for _, name := range c.Reckonable(func(string) bool { return true }) {
		for _, n := range reckonedNames {
			if n.name == name {
				f.own(fromAll, name, n.q, n.high).low = -n.high
			}
		}
		switch name {
		case filter.Channel:
			r.FilterLoading = name
			f.give(alarms.FilterLoadingRules(name, r.Suction, r.CleanSuction)...)
		case "charcoal_time":
			f.give(alarms.RefuelRule(name))
		case "filter_dew_margin":
			f.give(alarms.DewRule(name))
		case "bed_exit":
			f.give(alarms.QuenchRule(name))
		case "seal_health":
			f.give(alarms.SealRule(name))
		case "reignition":
			f.give(alarms.ReignitionRule(name))
		}
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

package sim

// Fault is something that goes wrong with the rig, by the name that Inject
// takes.
type Fault struct {
	Name  string
	Means string // what happens, for a list
}

// fault changes the machine once; what follows is physics.
type fault struct {
	Fault
	told  string // by the narrator when it begins
	begin func(*machine)
}

var faults = []fault{
	{Fault{"wall-hot", "return valve shut and the blower drawing too: the wall near the nozzle climbs past 650 degC"},
		"the return valve is knocked shut and somebody turns the blower on beside the running engine",
		func(m *machine) { m.jam(0); m.draft = 1.15 }},
	{Fault{"filter-clog", "tar and fines blind the filter: its drop passes 450 Pa within about 6 min"},
		"under-burnt charcoal comes down: tar and fines settle in the filter",
		func(m *machine) { m.tar = true }},
	{Fault{"co-rise", "an exhaust joint opens beside the operator: CO passes 25, 100 and 200 ppm within about 4 min"},
		"an exhaust joint works loose beside the operator",
		func(m *machine) { m.leaking = true }},
	{Fault{"filter-hole", "the filter tears: its drop falls below what it was when clean"},
		"the filter medium tears",
		func(m *machine) { m.hole = true }},
	{Fault{"hopper-empty", "the charcoal runs out: the gas gets hot, then weak, and the engine dies"},
		"the charcoal bridges: only the last of it reaches the nozzle",
		func(m *machine) { m.charcoal = min(m.charcoal, 0.45) }},
	{Fault{"wet-charcoal", "damp charcoal: the wall cools, the filter gets wet, its drop rises"},
		"a layer of damp charcoal reaches the nozzle",
		func(m *machine) { m.moisture = 0.42 }},
	{Fault{"return-stuck", "the exhaust return is plugged: its line goes cold and the wall near the nozzle passes 480 degC"},
		"soot plugs the exhaust return",
		func(m *machine) { m.jam(0) }},
}

// FaultNames lists the rig's faults.
func FaultNames() []Fault {
	all := make([]Fault, len(faults))
	for i, f := range faults {
		all[i] = f.Fault
	}
	return all
}

func names() []string {
	all := make([]string, len(faults))
	for i, f := range faults {
		all[i] = f.Name
	}
	return all
}

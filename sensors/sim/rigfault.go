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
		func(m *machine) { m.stick(Return, 0); m.wrong.draft = 1.15 }},
	{Fault{"filter-clog", "tar and fines blind the filter: its drop passes 450 Pa within about 6 min"},
		"under-burnt charcoal comes down: tar and fines settle in the filter",
		func(m *machine) { m.wrong.tar = true }},
	{Fault{"co-rise", "an exhaust joint opens beside the operator: CO passes 25, 100 and 200 ppm within about 4 min"},
		"an exhaust joint works loose beside the operator",
		func(m *machine) { m.wrong.joint = true }},
	{Fault{"filter-hole", "the filter tears: its drop falls below what it was when clean"},
		"the filter medium tears",
		func(m *machine) { m.wrong.hole = true }},
	{Fault{"hopper-empty", "the charcoal runs out: the gas gets hot, then weak, and the engine dies"},
		"the charcoal bridges: only the last of it reaches the nozzle",
		func(m *machine) { m.charcoal = min(m.charcoal, 0.45) }},
	{Fault{"wet-charcoal", "damp charcoal: the wall cools, the filter gets wet, its drop rises"},
		"a layer of damp charcoal reaches the nozzle",
		func(m *machine) { m.moisture = 0.45 }},
	{Fault{"return-stuck", "the exhaust return is plugged: its line goes cold and the wall near the nozzle passes 480 degC"},
		"soot plugs the exhaust return",
		func(m *machine) { m.stick(Return, 0) }},
	{Fault{"filter-tar", "tarry charcoal: the filter loads several times as fast, and shaking does not clear it"},
		"under-burnt charcoal at the nozzle: its tar sticks in the filter",
		func(m *machine) { m.wrong.sticky = true }},
	{Fault{"filter-fire", "the filter glows: its outlet gets hotter than its inlet, it melts, then burns through"},
		"a spark lights the filter, its housing takes in a little air",
		func(m *machine) { m.wrong.burning = true; m.wrong.before += 4e-6 }},
	{Fault{"cooler-dirty", "soot in the cooler: the gas comes hot to the filter"},
		"soot and dust coat the cooler",
		func(m *machine) { m.wrong.over(&m.wrong.cooler, 0.65, 10) }},
	{Fault{"fines", "fines pack the bed: suction climbs at the same flow"},
		"a pocket of fines comes down and packs the bed",
		func(m *machine) { m.wrong.over(&m.wrong.bed, 35, 12) }},
	{Fault{"clinker", "slag on the nozzle turns the blast to one side: one wall hot, the other cooler, suction up in steps"},
		"a lump of slag grows at the nozzle",
		func(m *machine) { m.wrong.over(&m.wrong.clinker, 1, 12) }},
	{Fault{"nozzle-blocked", "the nozzle blocks: suction climbs very high, everything cools, the engine starves"},
		"ash and slag close the nozzle",
		func(m *machine) { m.wrong.over(&m.wrong.nozzle, 0.22, 6) }},
	{Fault{"bridge", "the charcoal bridges over a void: the gas gets hot and weak, one wall hot; a tap brings it down"},
		"the charcoal bridges: a void opens above the fire",
		func(m *machine) { m.wrong.over(&m.wrong.void, 1, 4) }},
	{Fault{"leak-hot", "air at the ash door burns gas inside: gas hot and weak, suction low for its flow"},
		"the ash door's seal gives way",
		func(m *machine) { m.wrong.hotArea = 1.2e-5 }},
	{Fault{"leak-cold-before", "air into the gas pipe before the filter: the trim air hides it; it may burn back"},
		"a hose clip before the filter lets go",
		func(m *machine) { m.wrong.over(&m.wrong.before, 3e-5, 5) }},
	{Fault{"leak-cold-after", "air into the gas pipe behind the filter: the trim air hides it; it may burn back"},
		"a hose behind the filter cracks",
		func(m *machine) { m.wrong.over(&m.wrong.after, 3e-5, 5) }},
	{Fault{"return-big", "exhaust return wide open: everything cools, the gas is weak"},
		"the return valve is knocked wide open",
		func(m *machine) { m.stick(Return, 1) }},
	{Fault{"return-left-open", "the return valve stays open at the stop: the fire draws air and does not go out"},
		"the return valve will not be shut at the stop",
		func(m *machine) { m.wrong.returnOpen = true }},
	{Fault{"gas-escapes", "the blower pushes, and after the stop pressure builds: gas comes out beside the operator"},
		"the blower is wired the wrong way round, the vent is plugged",
		func(m *machine) { m.wrong.pushes = true }},
	{Fault{"lid-open", "the lid springs open for 4 min: suction gone, a puff of CO"},
		"the lid springs open",
		func(m *machine) { m.open(240) }},
	{Fault{"backfire", "the engine fires back into the gas pipe every minute or so for 6 min"},
		"a spark plug tracks: the engine fires back",
		func(m *machine) { m.wrong.popping = 360; m.pop() }},
	{Fault{"idle-long", "the engine is left idling: all flows low, the fire cools"},
		"the pump is shut and the engine left idling",
		func(m *machine) { m.stick(Load, 0) }},
	{Fault{"nozzle-worn", "nozzle and lining worn, from now on: suction lower, the near wall hotter"},
		"this nozzle is worn wide, the lining thin",
		func(m *machine) { m.wrong.nozzle *= 1.2; m.glow *= 1.12 }},
	{Fault{"seal-leak", "the lid's gasket leaks when shut: slow cooling, it holds no pressure"},
		"the lid's gasket is scorched",
		func(m *machine) { m.wrong.sealArea = 1.6e-5 }},
	{Fault{"couple-drift", "the near wall's thermocouple works loose: within 10 min it shows half of what it should"},
		"the near wall's thermocouple works loose",
		func(m *machine) { m.wrong.over(&m.wrong.loose, 0.5, 10) }},
	{Fault{"tap-blocked", "water in the filter drop's tube: it stays at its last value"},
		"a drop of water plugs the tube to the filter's gauge",
		func(m *machine) { m.wrong.plugged, m.wrong.stale = true, m.drop }},
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

package sim

import "time"

// Control is what the operator has a hand on.
type Control uint8

const (
	Word   Control = iota // nothing moves: the narrator speaks
	Fire                  // 1: the charcoal at the nozzle is lit
	Blower                // 0..1 of its full speed; draws the gas to the flare
	Flare                 // 1: a torch is held to the flare, 0: it is put out
	Engine                // 1: started on gas, 0: ignition off
	Load                  // W at the pump's shaft at 3000 rpm
	Return                // opening of the exhaust return valve, 0..1
	Seal                  // 1: nozzle, return and gas outlet are shut
	Fill                  // kg of charcoal poured in; the lid is off for a minute
	Tap                   // hopper and hearth are rapped: what bridges comes down
	Shake                 // the filter is shaken: most of its loose dust falls
	controls
)

// Act is one thing that the operator does.
type Act struct {
	At      time.Duration // rig time, from the start
	Control Control
	To      float64
	Text    string // for the narrator; "" is done in silence
}

// Plan is one run of the rig, with acts in order of time.
type Plan struct {
	Acts     []Act
	Charcoal float64 // kg in the hopper at the start
	Moisture float64 // of the charcoal, wet basis, 0..0.6

	Hopper    float64 // kg that it holds; 0: whatever is filled in
	Dust      float64 // kg in a Nm3 of gas; 0: 0.8 g, much
	StartDust float64 // kg in the filter at the start; 0: 2 g
}

// DefaultPlan is an afternoon at the irrigation pump: lit at 1 min, engine at
// 10 min, stopped and sealed at 80 min, watched until 90 min. Invented.
func DefaultPlan() Plan {
	m := func(minutes, seconds float64) time.Duration {
		return time.Duration(minutes*60+seconds) * time.Second
	}
	return Plan{
		Charcoal: 6,
		Moisture: 0.06,
		Acts: []Act{
			{0, Word, 0, "6 kg of dry charcoal in the hopper, lid clamped, filter seated, wind from behind"},
			{m(0, 30), Blower, 1, "blower on: 30 s of fresh air through the cold rig"},
			{m(1, 0), Fire, 1, "torch at the nozzle: the charcoal glows"},
			{m(5, 30), Flare, 1, "test flare lit at the blower outlet"},
			{m(10, 0), Flare, 0, "flare steady: gas turned to the engine"},
			{m(10, 0), Blower, 0, ""},
			{m(10, 4), Engine, 1, "engine cranked on gas"},
			{m(12, 30), Load, 900, "pump primed, first line of sprinklers open"},
			{m(14, 0), Return, 0.35, "exhaust return opened to a third"},
			{m(17, 0), Load, 1600, "second line of sprinklers open"},
			{m(20, 0), Return, 0.5, "return valve opened further: the wall near the nozzle was rising"},
			{m(26, 0), Return, 0.45, "return valve trimmed back a little"},
			{m(40, 0), Load, 1900, "third line open: full load"},
			{m(42, 0), Return, 0.55, "return valve opened to match the load"},
			{m(58, 0), Load, 1500, "third line closed"},
			{m(60, 0), Return, 0.45, "return valve trimmed back"},
			{m(72, 0), Load, 900, "second line closed"},
			{m(78, 0), Load, 0, "pump unloaded, engine idles down"},
			{m(80, 0), Engine, 0, "engine stopped"},
			{m(80, 5), Seal, 1, "nozzle capped, return and gas outlet shut"},
			{m(81, 0), Word, 0, "a sealed bed still makes gas: stay upwind"},
			{m(90, 0), Word, 0, "end of the watch: the rig is still hot, it stays shut"},
		},
	}
}

// Event is something worth telling.
type Event struct {
	At   time.Duration // rig time, from the start
	Text string
}

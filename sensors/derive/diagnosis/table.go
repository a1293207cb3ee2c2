package diagnosis

import "charwarden/sensors/derive/phase"

// expect is how a sign is expected to be under a cause.
type expect uint8

const (
	open   expect = iota // the cause says nothing of it
	steady               // as usual
	up                   // above
	down                 // below
	upOr                 // above or as usual
	downOr               // below or as usual
	either               // off, one way or the other
	expects
)

// chances are the chances to see a sign down, steady and up, by what is
// expected of it. Own choice, rounded: an expected move is missed once in five
// times because it is small yet; a move the other way is an accident.
var chances = [expects][3]float64{
	open:   {0.06, 0.88, 0.06},
	steady: {0.04, 0.92, 0.04},
	up:     {0.02, 0.20, 0.78},
	down:   {0.78, 0.20, 0.02},
	upOr:   {0.03, 0.55, 0.42},
	downOr: {0.42, 0.55, 0.03},
	either: {0.43, 0.14, 0.43},
}

// clue is one sign of a cause. Weight 1 is a sign like others, 2 one that hardly
// anything else makes, 0.5 one that often has other reasons.
type clue struct {
	sign   Sign
	want   expect
	weight float64
}

// signature is all that a cause is known by. Prior is the natural logarithm of
// how common it is against the most common.
type signature struct {
	prior  float64
	stands bool // it is of a rig at rest; otherwise of one that runs
	clues  []clue
}

// signatures are trade practice, reasoned from FAO Forestry Paper 72 (voids, slag,
// leaks, refuelling, gas that escapes at start and stop) and the flow laws: the
// nozzle and the bed take the square of the flow, the filter its first power.
// They were not measured on a rig.
var signatures = [causes]signature{
	FilterLoading:  {0, false, []clue{{Filled, up, 1.7}, {Quick, steady, 1}, {Drop, steady, 1}, {Suction, steady, 1}, {WallNear, steady, 0.5}, {GasOut, steady, 0.5}, {Heat, steady, 0.5}}},
	FilterWet:      {-0.3, false, []clue{{Drop, up, 1}, {Quick, upOr, 1}, {Damp, up, 1.5}, {Filled, upOr, 1.2}, {Suction, steady, 1}, {GasOut, downOr, 0.7}, {WallNear, downOr, 0.5}, {Heat, steady, 0.5}, {Hunting, upOr, 0.5}, {Throttle, upOr, 0.5}}},
	Tar:            {-0.3, false, []clue{{Drop, up, 1}, {Quick, upOr, 0.7}, {Damp, steady, 1}, {Suction, steady, 1}, {GasOut, steady, 1}, {WallNear, steady, 1}, {WallFar, steady, 0.5}, {Heat, steady, 0.5}, {ReturnRise, steady, 0.5}, {Cooling, steady, 0.5}, {Throttle, upOr, 0.5}, {Filled, upOr, 1.7}}},
	FilterHole:     {-0.3, false, []clue{{Drop, down, 1.7}, {Quick, downOr, 0.5}, {Suction, steady, 1}, {GasOut, steady, 1}, {WallNear, steady, 0.5}, {Heat, steady, 1}, {Filled, downOr, 1}, {Stuck, steady, 1}, {Throttle, steady, 0.5}}},
	FilterFire:     {-1, false, []clue{{Heat, up, 1.7}, {Drop, either, 0.5}, {COBeside, upOr, 0.5}, {Cooling, upOr, 0.5}}},
	CoolerDirty:    {-0.3, false, []clue{{Cooling, up, 1.7}, {Heat, downOr, 0.5}, {GasOut, steady, 1}, {WallNear, steady, 0.5}, {Drop, upOr, 0.5}, {Suction, steady, 0.5}, {ReturnRise, steady, 0.5}}},
	Fines:          {-0.3, false, []clue{{Suction, up, 2}, {Drop, downOr, 0.7}, {Throttle, upOr, 1}, {Quick, downOr, 0.5}, {Lean, steady, 1}, {GasOut, upOr, 0.7}, {WallNear, downOr, 0.5}, {ReturnRise, steady, 1}, {Hunting, steady, 0.5}}},
	Clinker:        {-1.2, false, []clue{{Lean, either, 1}, {Suction, up, 1.7}, {GasOut, up, 1.5}, {Drop, downOr, 0.5}, {WallNear, either, 0.3}, {WallFar, either, 0.7}, {Hunting, upOr, 0.5}, {ReturnRise, steady, 1.5}, {Throttle, upOr, 0.5}}},
	NozzleBlocked:  {-0.3, false, []clue{{Suction, up, 2}, {WallNear, down, 1}, {GasOut, downOr, 1}, {Lean, downOr, 0.5}, {WallFar, downOr, 0.5}, {Drop, downOr, 0.5}, {Quick, downOr, 0.5}, {Throttle, upOr, 1}, {Hunting, upOr, 0.7}, {ReturnRise, downOr, 0.5}}},
	Bridge:         {-0.6, false, []clue{{GasOut, up, 1.5}, {GasRate, upOr, 0.5}, {Suction, downOr, 1}, {WallNear, upOr, 1}, {Drop, downOr, 0.5}, {Throttle, upOr, 0.5}, {Hopper, steady, 1}, {ReturnRise, steady, 1}}},
	HopperLow:      {-0.3, false, []clue{{GasOut, up, 1}, {Hopper, up, 1.7}, {GasRate, upOr, 0.5}, {Suction, downOr, 0.5}, {Drop, downOr, 0.3}, {WallFar, upOr, 0.5}, {ReturnRise, steady, 1}, {Throttle, upOr, 0.5}}},
	LeakHot:        {-0.6, false, []clue{{GasOut, up, 1}, {Suction, downOr, 1}, {WallFar, upOr, 1.2}, {WallNear, upOr, 0.5}, {Lean, either, 0.7}, {Throttle, upOr, 1}, {Drop, downOr, 0.5}, {ReturnRise, steady, 1}, {Hopper, steady, 0.3}}},
	LeakCold:       {-0.6, false, []clue{{Suction, downOr, 1}, {WallNear, down, 1}, {GasOut, downOr, 1}, {Throttle, upOr, 1.5}, {Drop, either, 0.3}, {Cooling, downOr, 1}, {ReturnRise, steady, 0.5}, {Puffs, upOr, 1}}},
	ReturnShut:     {0, false, []clue{{ReturnRise, down, 1.7}, {WallNear, up, 1}, {Lean, upOr, 0.7}, {WallFar, upOr, 0.5}, {GasOut, upOr, 1}, {Drop, steady, 0.5}, {Throttle, downOr, 0.5}}},
	ReturnBig:      {-0.3, false, []clue{{ReturnRise, upOr, 1.2}, {WallNear, down, 1}, {Lean, downOr, 0.7}, {GasOut, downOr, 1}, {WallFar, downOr, 0.5}, {Throttle, upOr, 0.5}, {Drop, steady, 0.5}, {Suction, steady, 0.5}, {Hunting, upOr, 0.5}}},
	ReturnLeftOpen: {-0.3, true, []clue{{KeepsNear, up, 1.5}, {KeepsFar, up, 1}, {COStopped, upOr, 1}, {Holds, downOr, 1}}},
	GasEscapes:     {-0.3, true, []clue{{COStopped, up, 2}, {KeepsNear, steady, 1}, {KeepsFar, steady, 1}, {Holds, downOr, 0.5}}},
	ExhaustLeak:    {0, false, []clue{{COBeside, up, 2}, {Suction, steady, 1}, {Drop, steady, 1}, {WallNear, steady, 0.5}, {GasOut, steady, 0.5}, {Heat, steady, 1}, {Collapse, steady, 1}, {Puffs, steady, 2}, {Hunting, steady, 1}, {Throttle, steady, 0.5}}},
	LidOpen:        {0, false, []clue{{Collapse, up, 2}, {COBeside, upOr, 1}, {Suction, downOr, 0.7}, {GasOut, either, 0.3}, {GasRate, either, 0.5}, {WallNear, downOr, 0.7}, {WallFar, upOr, 0.5}, {Lean, downOr, 0.7}, {Quick, either, 0.5}, {Hunting, upOr, 0.5}, {Heat, downOr, 0.3}, {Stuck, steady, 1}}},
	Backfire:       {-0.3, false, []clue{{Puffs, up, 2}, {Collapse, steady, 1}, {COBeside, upOr, 1}, {Hunting, upOr, 1}, {Stuck, steady, 1}}},
	WetCharcoal:    {0, false, []clue{{WallNear, down, 1}, {GasOut, down, 1}, {WallFar, downOr, 0.5}, {ReturnRise, steady, 1.5}, {Suction, steady, 1}, {Throttle, steady, 0.7}, {Drop, upOr, 1}, {Filled, upOr, 1.2}, {Quick, upOr, 0.5}, {Damp, upOr, 1}, {Cooling, steady, 0.5}}},
	LongIdle:       {-0.3, false, []clue{{Low, down, 2}, {Suction, steady, 0.5}, {Drop, steady, 0.5}, {Throttle, steady, 0.5}}},
	LoadStep:       {0, false, []clue{{Step, either, 2}, {Suction, steady, 1}, {Drop, steady, 1}, {Throttle, steady, 1}, {Quick, steady, 1}, {Heat, steady, 0.5}, {COBeside, steady, 0.5}}},
	NozzleWorn:     {-0.6, false, []clue{{Suction, down, 1}, {WallNear, up, 1}, {GasOut, steady, 1}, {GasRate, steady, 0.5}, {Drop, steady, 0.5}, {Throttle, steady, 1}, {ReturnRise, steady, 1}, {Lean, upOr, 0.5}}},
	SealLeak:       {-0.3, true, []clue{{KeepsNear, upOr, 1}, {KeepsFar, upOr, 0.7}, {Holds, down, 1.9}, {COStopped, upOr, 0.5}}},
	Thermocouple:   {-0.3, false, []clue{{Alone, up, 1.7}, {Suction, steady, 0.5}, {Drop, steady, 0.5}, {Throttle, steady, 0.5}}},
	TapBlocked:     {-0.3, false, []clue{{Stuck, up, 2}, {GasOut, steady, 0.5}, {WallNear, steady, 0.5}, {COBeside, steady, 0.5}}},
}

// health is the prior of a rig without fault against the most common one.
const health = 3.0

// atRest reports whether a rig in p stands, as signatures mean it.
func atRest(p phase.Phase) bool {
	return p == phase.Stopping || p == phase.Sealed || p == phase.Lighting
}

// wants is signatures by sign, for every cause: what it expects and how much
// that weighs. A sign that it does not name is open, with weight 1; spikes, a
// collapse and a pressure that is stuck are nobody's but theirs who name them.
var wants = func() (w [causes][signs]clue) {
	for c := range w {
		for s := range w[c] {
			w[c][s] = clue{Sign(s), open, 1}
			if Sign(s) == Puffs || Sign(s) == Collapse || Sign(s) == Stuck {
				w[c][s].want = steady
			}
		}
		for _, k := range signatures[c].clues {
			w[c][k.sign] = k
		}
	}
	return w
}()

package alarms

import (
	"fmt"
	"time"

	"charwarden/sensors/derive/phase"
)

// Steel is what a wall or a pipe is made of. The zero value is bare carbon
// steel.
type Steel uint8

const (
	CarbonSteel  Steel = iota
	Stainless304       // 18 % chromium, 8 % nickel
	Galvanised         // carbon steel with a coat of zinc
	steels
)

var steelWords = [steels]string{"carbon_steel", "stainless_304", "galvanised"}

// String returns the word that a configuration file uses.
func (s Steel) String() string {
	if s >= steels {
		return fmt.Sprintf("steel(%d)", uint8(s))
	}
	return steelWords[s]
}

// ParseSteel is the inverse of String.
func ParseSteel(word string) (Steel, error) {
	for i, w := range steelWords {
		if w == word {
			return Steel(i), nil
		}
	}
	return 0, fmt.Errorf("steel: %q: unknown word (allowed: %v)", word, steelWords)
}

// wallLimits are notice, caution, alarm and stop in degC.
//
// Carbon steel reaches its oxidation limit at 482 to 510 degC and scales badly
// from 538 degC on (trade figures, second hand). 304 bears dry air up to 870
// when it comes and goes, which is a rig's case, and 925 without a break (ASM,
// second hand). Zinc bears 200 for long and 275 at times (galvanizers' manual);
// it melts at 419. The other steps are own choice.
var wallLimits = [steels][4]float64{
	CarbonSteel:  {480, 540, 600, 650},
	Stainless304: {760, 815, 870, 925},
	Galvanised:   {180, 200, 275, 350},
}

// What a wall does at notice, caution and alarm, after "The wall at x is ".
var wallMeans = [steels][3]string{
	CarbonSteel:  {"as hot as bare steel can bear for long", "so hot that the steel is burning away", "dangerously hot"},
	Stainless304: {"hotter than it need be", "so hot that the steel is losing its skin", "as hot as stainless steel can bear"},
	Galvanised:   {"nearly as hot as zinc can bear for long", "so hot that its zinc is coming off", "so hot that its zinc begins to give off poisonous fumes"},
}

// WallRules are the levels of a wall in degC, and two cautions that come
// before them: _rate, of a wall that rises by 30 degC a minute, and _projected,
// of one that will be at its alarm level within 5 min if it goes on. These two
// watch while the rig runs and the wall is within 80 degC of its notice: a
// hearth that warms up rises by up to 38 degC a minute before that, and by 24
// there. Own choice.
//
// The deadband is 1 % of a 1000 degC range (EEMUA 191 for temperature); the
// off-delay of 60 s is common practice, from memory.
func WallRules(ch string, steel Steel) []Rule {
	limits, means := wallLimits[steel], wallMeans[steel]
	level := func(what string, p Priority, limit float64, means, doFirst string) Rule {
		r := built(ch, what, Above, p, limit, 10)
		r.OnDelay, r.OffDelay = 3*time.Second, 60*time.Second
		r.Means, r.DoFirst = means, doFirst
		if p == High {
			r.Hazard = Fire
		}
		return r
	}
	wall := "The wall at " + ch
	alarm := level("alarm", High, limits[2], wall+" is "+means[2]+".",
		"Shut the rig down in the usual order, and keep yourself and what burns away from the wall.")
	if steel == Galvanised {
		alarm.DoFirst = "Stay upwind of its fumes and shut the rig down in the usual order."
	}
	stop := level("stop", High, limits[3],
		wall+" is so hot that it may fail, and the engine is being stopped.",
		"Stand back upwind, then close the nozzle if you can reach it without stepping into smoke or gas. "+fireBurns)
	stop.Latch, stop.Stops = true, true

	hot := []While{during(phase.Running), {Channel: ch, Kind: Above, Limit: limits[0] - 80, Deadband: 10}}
	rate := built(ch, "rate", Rate, Caution, 30, 5)
	rate.Window, rate.OnDelay, rate.OffDelay, rate.While = 2*time.Minute, 5*time.Second, 60*time.Second, hot
	rate.Means = wall + " is heating up fast."
	rate.DoFirst = "Take load off, and look for an air leak, a hollow in the charcoal or a return valve that is shut."

	projected := built(ch, "projected", Projected, Caution, limits[2], 10)
	projected.Window, projected.Within, projected.OnDelay, projected.OffDelay = 2*time.Minute, 5*time.Minute, 5*time.Second, 60*time.Second
	// Past the alarm there is nothing left to foretell.
	projected.While = []While{hot[0], hot[1], {Channel: ch, Kind: Below, Limit: limits[2], Deadband: 10}}
	projected.Means = wall + " will be dangerously hot within 5 minutes if it goes on like this."
	projected.DoFirst = "Take load off now, and open the exhaust return further if it is not rising from an air leak."
	return []Rule{
		level("notice", Notice, limits[0], wall+" is "+means[0]+".",
			"Look at the charcoal level and at the air, and watch whether it still rises."),
		level("caution", Caution, limits[1], wall+" is "+means[1]+".",
			"Take load off the engine and look for an air leak or a hollow in the charcoal."),
		alarm, stop, rate, projected,
	}
}

// WallSpreadRule is the caution of two walls of one hearth that differ by 220
// degC: one side burns and the other does not. In an ordinary run the wall near
// the nozzle is up to 165 degC hotter than the far one. A wall below 80 degC is
// left to DoubtRules. Own choice.
func WallSpreadRule(near, far string) Rule {
	r := built(near, "spread", Deviation, Caution, 220, 20)
	r.Other, r.OnDelay, r.OffDelay = far, 60*time.Second, 60*time.Second
	r.While = []While{
		during(phase.Running),
		{Channel: near, Kind: Above, Limit: believable, Deadband: 10},
		{Channel: far, Kind: Above, Limit: believable, Deadband: 10},
	}
	r.Means = "One side of the hearth is far hotter than the other: a hollow in the charcoal, or clinker."
	r.DoFirst = "Let the engine idle, and tap the hopper; rod it only by the refuelling drill, and never lean over it."
	return r
}

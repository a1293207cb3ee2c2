package diagnosis

import (
	"fmt"
	"math"
)

// Sign is one thing that is compared with what this rig usually does.
type Sign uint8

const (
	Suction    Sign = iota // at this flow
	Drop                   // of the filter, at this flow
	Throttle               // how far the governor opens for this flow; speed sags with it
	Quick                  // the filter's resistance within 4 min
	WallNear               // at this load
	WallFar                // at this load
	Lean                   // near wall less far wall, at this load
	GasOut                 // at this load
	GasRate                // of GasOut within 2 min
	Cooling                // rise above air that is left behind the cooler
	Heat                   // filter outlet less inlet
	ReturnRise             // return line above air, at this load
	Hunting                // unrest of the speed
	COBeside               // at the operator while the engine runs
	Step                   // of the flow within 3 min
	Low                    // the flow of the last 10 min, against the rig's usual
	Filled                 // dust in the filter
	Damp                   // of the gas before the filter, against its dew point
	Hopper                 // charcoal left
	Puffs                  // suction's spikes in the last 3 min
	Collapse               // suction gone while the engine turns
	Stuck                  // a pressure that does not move with the other
	Alone                  // one temperature against all others, or bad
	KeepsNear              // heat of the near wall after the stop
	KeepsFar               // heat of the far wall after the stop
	COStopped              // at the operator while the engine stands
	Holds                  // pressure behind the caps
	signs                  // how many there are
)

// telling is how a sign is put in words: up, down and steady with its value in
// unit, and what is usual for it.
type telling struct {
	up, down, steady string
	percent          bool    // the deviation is of a logarithm, told in percent
	floor            float64 // least spread: what a healthy rig does from run to run
	witness          input   // the place of measurement that moves first
}

// The floors are starting values of our own, no source. A sign without one is
// reckoned in spreads already.
var tellings = [signs]telling{
	Suction:    {"suction %.0f %% above what this flow had on this rig", "suction %.0f %% below what this flow had on this rig", "suction is what this flow had", true, 0.10, inSuction},
	Drop:       {"filter drop %.0f %% above what this flow had on this rig", "filter drop %.0f %% below what this flow had on this rig", "filter drop is what this flow had", true, 0.08, inDrop},
	Throttle:   {"speed sags: the governor is open for %.0f %% more flow than passes", "speed is high: the governor is open for %.0f %% less flow than passes", "speed fits the flow", true, 0.07, inSpeed},
	Quick:      {"filter's resistance rose %.0f %% within 4 min", "filter's resistance fell %.0f %% within 4 min", "filter's resistance has not moved for minutes", true, 0.06, inDrop},
	WallNear:   {"near wall %.0f degC hotter than at this load", "near wall %.0f degC colder than at this load", "near wall is as at this load", false, 8, inNear},
	WallFar:    {"far wall %.0f degC hotter than at this load", "far wall %.0f degC colder than at this load", "far wall is as at this load", false, 5, inFar},
	Lean:       {"near wall %.0f degC further above the far one than usual", "near wall %.0f degC less above the far one than usual", "the walls differ as usual", false, 8, inNear},
	GasOut:     {"gas leaves %.0f degC hotter than at this load", "gas leaves %.0f degC colder than at this load", "gas leaves as hot as at this load", false, 5, inGasOut},
	GasRate:    {"gas temperature rose %.0f degC within 2 min", "gas temperature fell %.0f degC within 2 min", "gas temperature has not moved for minutes", false, 8, inGasOut},
	Cooling:    {"cooler leaves %.0f %% more of the heat than usual", "cooler leaves %.0f %% less of the heat than usual", "cooler works as usual", true, 0.08, inFilterIn},
	Heat:       {"filter outlet is %.0f degC warmer against its inlet than usual", "filter outlet is %.0f degC colder against its inlet than usual", "filter makes no heat", false, 2.5, inFilterOut},
	ReturnRise: {"return line %.0f degC hotter than at this load", "return line %.0f degC colder than at this load", "return line is as at this load", false, 7, inReturn},
	Hunting:    {"speed hunts %.0f %% more than usual", "speed is %.0f %% calmer than usual", "speed is as calm as usual", true, 0.3, inSpeed},
	COBeside:   {"carbon monoxide at the operator is %.0f %% above the usual", "carbon monoxide at the operator is %.0f %% below the usual", "carbon monoxide at the operator is as usual", true, 0.35, inCO},
	Step:       {"flow went up %.0f %% within 3 min", "flow went down %.0f %% within 3 min", "flow has not moved for minutes", true, 0.05, inSuction},
	Low:        {"flow has been %.0f %% above the rig's usual for 10 min", "flow has been %.0f %% below the rig's usual for 10 min", "flow is in its usual range", true, 0.06, inSuction},
	Filled:     {"filter holds %.0f %% of the dust that makes it due", "filter holds %.0f %% less dust than clean", "filter is not due", false, 0, inDrop},
	Damp:       {"gas before the filter is within %.0f K of its dew point", "gas before the filter is %.0f K above its dew point", "gas before the filter is dry", false, 0, inDew},
	Hopper:     {"charcoal left is %.2g kg", "charcoal left is %.2g kg", "charcoal is left", false, 0, inCharcoal},
	Puffs:      {"suction spiked %.0f times in 3 min", "", "no spikes of suction", false, 0, inSuction},
	Collapse:   {"suction fell to %.0f %% of its level while the engine turned", "", "suction has not collapsed", false, 0, inSuction},
	Stuck:      {"a pressure stood still for %.0f s while flow moved", "", "both pressures move", false, 0, inSuction},
	Alone:      {"one temperature is %.0f spreads off while the others are as usual, or it is bad", "", "the temperatures agree", false, 0, inNear},
	KeepsNear:  {"near wall cools %.0f %% slower than after other stops", "near wall cools %.0f %% faster than after other stops", "near wall cools as after other stops", true, 0.12, inNear},
	KeepsFar:   {"far wall cools %.0f %% slower than after other stops", "far wall cools %.0f %% faster than after other stops", "far wall cools as after other stops", true, 0.15, inFar},
	COStopped:  {"carbon monoxide at the operator is %.0f %% above other stops", "carbon monoxide at the operator is %.0f %% below other stops", "carbon monoxide is as after other stops", true, 0.35, inCO},
	Holds:      {"the closed rig is %.0f Pa further above the air than after other stops", "the closed rig is %.0f Pa less above the air than after other stops", "the closed rig holds as after other stops", false, 3, inSuction},
}

// mark is what is known of a sign: its deviation from the usual in its own unit
// (a logarithm where it is told in percent), and in spreads. NaN is not known;
// old is one whose channel was lost since.
type mark struct {
	off, z float64
	old    bool
}

// Signs are the marks of all signs at one moment.
type Signs [signs]mark

var unknown = mark{off: math.NaN(), z: math.NaN()}

func unknownSigns() (s Signs) {
	for i := range s {
		s[i] = unknown
	}
	return s
}

func (m mark) known() bool { return m.z == m.z }

// tell puts a mark in words.
func (s Sign) tell(m mark) string {
	if m.old {
		m.old = false
		return s.tell(m) + ", when last known"
	}
	t := &tellings[s]
	v := m.off
	if t.percent {
		v = 100 * math.Expm1(v)
	}
	switch {
	case m.z > moved:
		return fmt.Sprintf(t.up, math.Abs(v))
	case m.z < -moved && t.down != "":
		return fmt.Sprintf(t.down, math.Abs(v))
	}
	return t.steady
}

// shares says how far a mark counts as down, steady and up: logistic curves
// around moved spreads.
func (m mark) shares() (down, steady, up float64) {
	const width = 0.5
	up = 1 / (1 + math.Exp(-(m.z-moved)/width))
	down = 1 / (1 + math.Exp((m.z+moved)/width))
	return down, 1 - up - down, up
}

// moved is how many spreads off a sign has moved.
const moved = 2.5

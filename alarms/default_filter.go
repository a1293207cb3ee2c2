package alarms

import (
	"time"

	"charwarden/sensors/derive/phase"
)

// FilterDropRules are the levels of the pressure drop over the gas filter in
// Pa; both are starting values of our own, to be set from the clean filter's
// drop. The deadband is 2 % (EEMUA 191 for pressure) of a 500 Pa range, the
// delays of 15 s are common practice for pressure, from memory.
func FilterDropRules(ch string) []Rule {
	level := func(what string, p Priority, limit float64, means, doFirst string) Rule {
		r := built(ch, what, Above, p, limit, 10)
		r.OnDelay, r.OffDelay = 15*time.Second, 15*time.Second
		r.Means, r.DoFirst = means, doFirst
		return r
	}
	return []Rule{
		level("caution", Caution, 250,
			"The filter is filling up with dust.",
			"Plan to clean it after this run, and open it only when it is cold and you stand upwind."),
		level("alarm", High, 450,
			"The filter is clogged, and the engine may stall and leave gas in the rig.",
			"Take the load off and shut the rig down in the usual order. Open the filter only when it is cold and you stand upwind."),
	}
}

// FilterLoadingRules are the levels of a filter's dust on channel loading, in
// percent of what makes it three times as hard to breathe through as clean;
// cleanSuction is the suction in Pa at which it was clean, on channel suction;
// 0 is not known, and then only the phase says that gas is drawn.
//
// The filter is due at 50 % (twice clean) and clogged at 100 % (trade practice:
// three times clean). Below -15 % it has a hole or is not seated (trade
// practice: 30 % below clean). A rise of 7.5 % a minute over 3 min is water:
// dust takes an hour for as much; its on-delay of 90 s lets the start of the
// engine leave the window.
// Delays and bands are own choice; the caution waits 10 min, because dust has
// time.
//
// All watch while the engine draws gas through the filter. With the lid open
// to refuel, suction goes and the ratio says nothing, so that a quarter of
// cleanSuction is wanted. A blocked nozzle or bed raises suction and seems to
// empty the filter, so that a hole is called only up to 1.6 times cleanSuction;
// at low load it may be called falsely behind the alarms of suction.
func FilterLoadingRules(loading, suction string, cleanSuction float64) []Rule {
	var drawn, free []While
	if cleanSuction > 0 {
		drawn = []While{{Channel: suction, Kind: Above, Limit: 0.3 * cleanSuction, Deadband: 0.05 * cleanSuction}}
		free = append(drawn[:1:1], While{Channel: suction, Kind: Below, Limit: 1.6 * cleanSuction, Deadband: 0.1 * cleanSuction})
	}
	caution := built(loading, "caution", Above, Caution, 50, 5)
	caution.OnDelay, caution.OffDelay = 10*time.Minute, 60*time.Second
	caution.While = append([]While{during(phase.Running)}, drawn...)
	caution.Means = "The filter takes twice the pressure that it took when clean."
	caution.DoFirst = "Plan to clean it after this run, and open it only when it is cold and you stand upwind."

	alarm := built(loading, "alarm", Above, High, 100, 7.5)
	alarm.OnDelay, alarm.OffDelay = 60*time.Second, 60*time.Second
	alarm.While = append([]While{during(phase.Running)}, drawn...)
	alarm.Means = "The filter is clogged, and the engine may stall and leave gas in the rig."
	alarm.DoFirst = "Take the load off and shut the rig down in the usual order. Open the filter only when it is cold and you stand upwind."

	hole := built(loading, "hole", Below, Caution, -15, 2.5)
	hole.OnDelay, hole.OffDelay = 30*time.Second, 60*time.Second
	hole.While = append([]While{during(phase.Warming, phase.Running)}, free...)
	hole.Means = "Gas goes past the filter: it is torn or badly seated, and dust is wearing out the engine."
	hole.DoFirst = "Shut the rig down in the usual order. Open the filter only when it is cold and you stand upwind."

	wet := built(loading, "wet", Rate, Caution, 7.5, 2.5)
	wet.Window, wet.OnDelay, wet.OffDelay = 3*time.Minute, 90*time.Second, 60*time.Second
	wet.While = append([]While{during(phase.Running)}, drawn...)
	wet.Means = "The filter is getting hard to breathe through within minutes: water or tar is settling in it."
	wet.DoFirst = "Drain the traps from upwind, and take the load off if it still rises. Use drier charcoal."
	return []Rule{caution, alarm, hole, wet}
}

// FilterFireRule is the alarm of a filter that burns: gas cannot leave it 15
// degC hotter than it enters. After a stop the outlet may stay a few degrees
// above the inlet; below 70 degC, which dark steel reaches in the sun, nothing
// is called. Own choice.
func FilterFireRule(out, in string) Rule {
	r := built(out, "fire", Exceeds, High, 15, 5)
	r.Other, r.OnDelay, r.OffDelay = in, 10*time.Second, 60*time.Second
	r.Latch, r.Stops, r.Hazard = true, true, Fire
	r.While = []While{{Channel: out, Kind: Above, Limit: 70, Deadband: 10}}
	r.Means = "Gas leaves the filter hotter than it enters: the filter is burning, and the engine is being stopped."
	r.DoFirst = "Stand back upwind, and keep the filter closed until it is cold: air makes it burn. " + fireBurns
	return r
}

// PluggedTapRule is the caution of a pressure that does not follow the engine:
// it moved 3 Pa or less in 3 min in which the speed moved 500 rpm or more. Own
// choice.
func PluggedTapRule(ch, speed string) Rule {
	r := built(ch, "plugged", Frozen, Caution, 3, 2)
	r.Other, r.OtherMoved, r.Window = speed, 500, 3*time.Minute
	r.OnDelay, r.OffDelay, r.While = 5*time.Second, 15*time.Second, []While{during(phase.Warming, phase.Running)}
	r.Means = "The pressure at " + ch + " does not follow the engine: its tap or tube is plugged, or the tacho is wrong."
	r.DoFirst = "Do not trust it. Blow its tube out when the rig is shut and cold, and let it slope so that water runs back."
	return r
}

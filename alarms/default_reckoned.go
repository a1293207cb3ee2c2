package alarms

import (
	"time"

	"charwarden/sensors/derive/phase"
)

// Rules on what no sensor shows. All limits are own choice; none stops the
// engine, because what they look at is reckoned.

// RefuelRule is the caution of a hopper that is down to its heel within 15 min,
// on the channel of the seconds that are left.
func RefuelRule(charcoalTime string) Rule {
	r := built(charcoalTime, "caution", Below, Caution, 15*60, 5*60)
	r.OnDelay, r.OffDelay = 60*time.Second, 60*time.Second
	r.While = []While{during(phase.Warming, phase.Running)}
	r.Means = "By what was filled in and burnt, the charcoal is down to its heel within 15 minutes; below it hot gas reaches hose and filter."
	r.DoFirst = "Refuel by the drill: engine at idle, stand upwind, burn off the gas at the lid, close it, and tell the kilograms. Or stop the rig."
	return r
}

// DewRule is the notice of a filter that is colder than the dew point of its
// gas for 10 min: water settles in it.
func DewRule(margin string) Rule {
	r := built(margin, "notice", Below, Notice, 0, 2)
	r.OnDelay, r.OffDelay = 10*time.Minute, 60*time.Second
	r.While = []While{during(phase.Running)}
	r.Means = "The filter is colder than the dew point of its gas: water settles in it."
	r.DoFirst = "Drain the traps from upwind, and less water in: drier charcoal, less return. Shield the filter from the wind."
	return r
}

// QuenchRule is the notice of a bed that is reckoned to leave its reaction:
// below 700 degC CO hardly forms (trade judgement).
func QuenchRule(bed string) Rule {
	r := built(bed, "notice", Below, Notice, 700, 20)
	r.OnDelay, r.OffDelay = 5*time.Minute, 60*time.Second
	r.While = []While{during(phase.Running)}
	r.Means = "The fire is reckoned to be too cool to make strong gas: too much exhaust return, wet charcoal, or hardly any load."
	r.DoFirst = "Less return, in small steps, and wait minutes between them."
	return r
}

// HotterRule is the notice of a wall that is 40 K hotter than in the run before
// at the same load.
func HotterRule(hotter string) Rule {
	r := built(hotter, "notice", Above, Notice, 40, 10)
	r.OnDelay, r.OffDelay = 5*time.Minute, 60*time.Second
	r.While = []While{during(phase.Running)}
	r.Means = "This wall is hotter than in the last run at the same load: nozzle or lining may be worn, or there is less return."
	r.DoFirst = "Look at the return valve now, and at nozzle and lining when the rig is cold."
	return r
}

// ReignitionRule is the alarm of a shut rig that has become hotter again by 15 K:
// it burns, so that air gets in. A fire that comes back late looks like lighting.
func ReignitionRule(reignition string) Rule {
	r := built(reignition, "alarm", Above, High, 15, 5)
	r.OnDelay, r.OffDelay, r.Hazard = 3*time.Minute, 3*time.Minute, Fire
	r.While = []While{during(phase.Sealed, phase.Cold, phase.Lighting)}
	r.Means = "The shut rig is getting hotter again: air gets in, and it burns and makes carbon monoxide."
	r.DoFirst = "From upwind: close nozzle, return, outlet and lid again. Do not open it. " + fireBurns
	return r
}

// SealRule is the notice of a rig that cools more slowly than at its best, on
// the channel of its seals' health.
func SealRule(health string) Rule {
	r := built(health, "notice", Below, Notice, 0.8, 0.05)
	r.OnDelay, r.OffDelay = 10*time.Minute, 10*time.Minute
	r.While = []While{during(phase.Sealed)}
	r.Means = "The sealed rig cools more slowly than at its best: a seal or a valve leaks air."
	r.DoFirst = "Close everything again from upwind, and look at gasket and valves when it is cold. Keep it outdoors."
	return r
}

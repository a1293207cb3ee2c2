package alarms

import (
	"time"

	"charwarden/sensors/derive/phase"
)

// SuctionRules are the levels of the suction at the reactor in Pa; clean is
// what it is at the load at which the filter was clean. Full load takes 1.5
// times that, and an engine that is started more than twice it for seconds. A
// suction that is below a fifth for 5 min is no refuelling any more: that takes
// up to 3. All own choice; the on-delay of 15 s is common practice for
// pressure, from memory, and the wide band is the unrest of the bed.
func SuctionRules(ch string, clean float64) []Rule {
	level := func(what string, k Kind, p Priority, times, band float64, means, doFirst string) Rule {
		r := built(ch, what, k, p, times*clean, band*clean)
		r.OnDelay, r.OffDelay = 15*time.Second, 60*time.Second
		r.Means, r.DoFirst = means, doFirst
		return r
	}
	collapsed := level("collapsed", Below, Caution, 0.2, 0.1,
		"The engine draws hardly any gas through the hearth: air comes in elsewhere, or the lid is open.",
		"Close lid and ash door from upwind. If it stays, shut the rig down and look for the leak when it is cold.")
	collapsed.OnDelay, collapsed.While = 5*time.Minute, []While{during(phase.Running)}
	return []Rule{
		level("caution", Above, Caution, 2, 0.25,
			"The engine has to draw hard: fines or clinker in the hearth, or something in the nozzle.",
			"Take load off, and look at the nozzle and the air valve. Shake the grate lightly."),
		level("alarm", Above, High, 3, 0.25,
			"The nozzle or the bed is nearly blocked, and the engine may stall and leave gas in the rig.",
			"Take the load off and shut the rig down in the usual order. Clear it only when it is cold."),
		collapsed,
	}
}

// ReturnColdRule is the caution of an exhaust return whose line is not above
// 60 degC for 10 min of running: shut or plugged, and the wall will rise. A line
// that carries exhaust has 115 degC and more. Own choice.
func ReturnColdRule(ch string) Rule {
	r := built(ch, "cold", Below, Caution, 60, 10)
	r.OnDelay, r.OffDelay, r.While = 10*time.Minute, 60*time.Second, []While{during(phase.Running)}
	r.Means = "No exhaust comes back to the hearth: the return is shut or plugged, and the wall will get hotter."
	r.DoFirst = "Open the return valve, and watch the wall. Clear the line only when the rig is cold."
	return r
}

package alarms

import (
	"time"

	"charwarden/sensors/derive/phase"
)

// believable is the least that a wall can have in a running rig, degC.
const believable = 80.0

// DoubtRules are the cautions of thermocouples that lie: what they show cannot
// be, so that their other alarms cannot be trusted. Gas before the filter that
// is 20 degC above the gas that leaves the hearth, for 60 s; a wall below 80
// degC for 5 min while the hearth gives gas above 250 degC. All while the rig
// runs; own choice.
func DoubtRules(filterIn, gasOut string, walls ...string) []Rule {
	const doFirst = "Do not trust it. At the next pause look for a loose or swapped plug, and whether the tip is in its place."
	gas := built(filterIn, "doubt", Exceeds, Caution, 20, 5)
	gas.Other, gas.OnDelay, gas.OffDelay = gasOut, 60*time.Second, 60*time.Second
	gas.While = []While{during(phase.Running)}
	gas.Means = "The gas cannot be hotter at " + filterIn + " than at " + gasOut + ": one of the two thermocouples is wrong."
	gas.DoFirst = doFirst
	rules := []Rule{gas}
	for _, w := range walls {
		r := built(w, "doubt", Below, Caution, believable, 10)
		r.OnDelay, r.OffDelay = 5*time.Minute, 60*time.Second
		r.While = []While{during(phase.Running), {Channel: gasOut, Kind: Above, Limit: 250, Deadband: 20}}
		r.Means = "The wall at " + w + " cannot be that cold while the hearth gives hot gas: its thermocouple is wrong, and nobody is watching the wall."
		r.DoFirst = doFirst
		rules = append(rules, r)
	}
	return rules
}

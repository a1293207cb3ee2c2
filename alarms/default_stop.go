package alarms

import (
	"time"

	"charwarden/sensors/derive/phase"
)

// CoolingRule is the caution of a sealed rig that does not cool: in 10 min a
// wall above 200 degC fell by 15 degC or less. A sealed wall falls by 25 degC
// and more at that heat, but one far from the nozzle still warms for 10 min
// after a short run, hence the on-delay of 20 min. Own choice, to be set from a
// good stop of the rig.
func CoolingRule(wall string) Rule {
	r := built(wall, "cooling", SlowFall, Caution, 15, 3)
	r.Window, r.OnDelay, r.OffDelay = 10*time.Minute, 20*time.Minute, 60*time.Second
	r.While = []While{during(phase.Sealed), {Channel: wall, Kind: Above, Limit: 200, Deadband: 10}}
	r.Means = "The shut rig does not cool: air still gets in by the nozzle, the lid's seal or a return that was left open."
	r.DoFirst = "Go there from upwind with a carbon monoxide alarm on you, and close nozzle, return and lid again."
	return r
}

package alarms

import (
	"time"

	"charwarden/sensors/derive/phase"
)

// GasRules are the levels of the gas before the filter in degC. PVC hose
// softens at 60 (weak source), PU foam at 90 and bears 120 for a short time
// (from memory); the steps are common practice, no source. The deadband of 3
// degC and the off-delay of 30 s are own choice; the caution rides over a puff
// of 5 s.
func GasRules(ch string) []Rule {
	level := func(what string, p Priority, limit float64, means, doFirst string) Rule {
		r := built(ch, what, Above, p, limit, 3)
		r.OnDelay, r.OffDelay = 3*time.Second, 30*time.Second
		r.Means, r.DoFirst = means, doFirst
		return r
	}
	caution := level("caution", Caution, 60,
		"The gas is too warm for hose and foam to last.",
		"Take load off, and see whether the cooler is dirty.")
	caution.OnDelay = 5 * time.Second
	stop := level("stop", High, 100,
		"The filter may melt or catch fire, and the engine is being stopped.",
		"Stand back upwind, and keep the filter closed: air makes it burn. "+fireBurns)
	stop.Latch, stop.Stops, stop.Hazard = true, true, Fire
	return []Rule{
		caution,
		level("alarm", High, 80,
			"The gas softens hose and filter foam, which then leak.",
			"Shut the rig down in the usual order, and stay upwind."),
		stop,
	}
}

// GasOutRule is the caution of gas that leaves the hearth at 400 degC: there
// is little charcoal above the fire to cool it. In an ordinary run it has up to
// 305; trade figures give 400 as the most for a pipe (second hand).
func GasOutRule(ch string) Rule {
	r := built(ch, "caution", Above, Caution, 400, 10)
	r.OnDelay, r.OffDelay, r.While = 5*time.Second, 60*time.Second, []While{during(phase.Warming, phase.Running)}
	r.Means = "The gas leaves the hearth far too hot: the hopper is running empty, or there is a hollow above the fire."
	r.DoFirst = "Let the engine idle, then refuel by the drill or tap the hopper. Shut down before hot gas reaches hose and filter."
	return r
}

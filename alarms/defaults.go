package alarms

import (
	"strings"
	"time"

	"charwarden/sensors"
)

// The first words of a carbon monoxide alarm, and the last of one that stops
// the engine.
const (
	leaveNow  = "Leave now, upwind. Do not go back to shut anything or to silence the horn."
	fireBurns = "Ignition off does not stop the fire: gas may now come out."
)

// FaultRule is the rule of a channel that gives no value, for whatever reason
// (stale and clipped too). A loose plug that makes contact again stays known
// until somebody has acknowledged it; the fault of a CO cell is latched.
//
// Its priority follows from what goes unwatched: alarm for CO; caution for
// temperature, pressure and speed, whose limits guard the hearth and the
// engine; notice for the rest and for the weather (air_...).
//
// The on-delay of 2 s rides over single bad reads; delays are our own choice.
func FaultRule(ch sensors.Channel) Rule {
	r := Rule{
		Name: ch.Name + "_fault", Channel: ch.Name, Kind: Fault, Priority: Notice,
		OnDelay: 2 * time.Second, OffDelay: 5 * time.Second,
		Means:   "No usable value comes from " + ch.Name + ", so nobody is watching it.",
		DoFirst: "Look at its plug and cable at the next pause.",
	}
	switch {
	case ch.Quantity == sensors.CO:
		r.Priority, r.Latch = High, true
		r.Means = "The carbon monoxide cell " + ch.Name + " gives no usable value, so nobody is watching the air."
		r.DoFirst = "Step back upwind now, and treat the air at the rig as bad. " +
			"Go to look at the cell only with a working carbon monoxide alarm on you."
	case strings.HasPrefix(ch.Name, "air_"):
	case ch.Quantity == sensors.Temperature, ch.Quantity == sensors.Pressure, ch.Quantity == sensors.Speed:
		r.Priority = Caution
		r.DoFirst = "Look at its plug and cable, and shut the rig down in the usual order if it does not come back."
	}
	return r
}

// UnzeroedRule is the notice of a pressure channel whose zero was never taken:
// its limits are not watched. The delay is that of a zero taken at the start.
func UnzeroedRule(ch string) Rule {
	return Rule{
		Name: ch + "_unzeroed", Channel: ch, Kind: Zeroing, Priority: Notice, OnDelay: 20 * time.Second,
		Means:   "The zero of " + ch + " was not taken, so its value cannot be trusted and its limits are not watched.",
		DoFirst: "Take its zero while the engine stands and the rig is cold.",
	}
}

// CORules are the levels of a carbon monoxide channel in ppm. 25 ppm is the
// ACGIH TLV (8 h), 100 ppm the EU short-term limit (15 min, (EU) 2017/164),
// 200 ppm the NIOSH ceiling; acting on them at once instead of after their
// averaging time is our own, cautious choice. Only the caution, which asks for
// no flight, is delayed. They clear at 80 % of the level for 60 s.
func CORules(ch string) []Rule {
	rule := func(what string, p Priority, limit float64) Rule {
		return Rule{
			Name: ch + "_" + what, Channel: ch, Kind: Above, Priority: p,
			Limit: limit, Deadband: limit / 5, OffDelay: 60 * time.Second,
		}
	}
	caution := rule("caution", Caution, 25)
	caution.OnDelay = 60 * time.Second
	caution.Means = "There is carbon monoxide in the air at the rig."
	caution.DoFirst = "Step back upwind and stay there. Look for the leak only when the air is proved clear."

	alarm := rule("alarm", High, 100)
	alarm.Means = "The air at the rig holds a dangerous amount of carbon monoxide."
	alarm.DoFirst = leaveNow + " When the air is proved clear, find the leak and close it before the next run."

	evacuate := rule("evacuate", Evacuate, 200)
	evacuate.Latch, evacuate.Stops = true, true
	evacuate.Means = "The air at the rig is poisonous with carbon monoxide, and there may be far more than the cell can show."
	evacuate.DoFirst = leaveNow + " When the air is proved clear, close the nozzle and every opening. " + fireBurns
	return []Rule{caution, alarm, evacuate}
}

// WallRules are the levels of a bare carbon-steel hearth wall in degC. Carbon
// steel reaches its oxidation limit at 482 to 510 degC and scales badly from
// 538 degC on (trade figures, second hand); alarm and stop are our own steps
// above. The deadband is 1 % of a 1000 degC range (EEMUA 191 for temperature);
// the off-delay of 60 s is common practice, from memory.
func WallRules(ch string) []Rule {
	rule := func(what string, p Priority, limit float64, means, doFirst string) Rule {
		return Rule{
			Name: ch + "_" + what, Channel: ch, Kind: Above, Priority: p,
			Limit: limit, Deadband: 10, OnDelay: 3 * time.Second, OffDelay: 60 * time.Second,
			Means: means, DoFirst: doFirst,
		}
	}
	stop := rule("stop", High, 650,
		"The wall at "+ch+" is so hot that it may fail, and the engine is being stopped.",
		"Stand back upwind, then close the nozzle if you can reach it without stepping into smoke or gas. "+fireBurns)
	stop.Latch, stop.Stops = true, true
	return []Rule{
		rule("notice", Notice, 480,
			"The wall at "+ch+" is as hot as bare steel can bear for long.",
			"Look at the charcoal level and at the air, and watch whether it still rises."),
		rule("caution", Caution, 540,
			"The wall at "+ch+" is so hot that the steel is burning away.",
			"Take load off the engine and look for an air leak or a hollow in the charcoal."),
		rule("alarm", High, 600,
			"The wall at "+ch+" is dangerously hot.",
			"Shut the rig down in the usual order, and keep yourself and what burns away from the wall."),
		stop,
	}
}

// FilterDropRules are the levels of the pressure drop over the gas filter in
// Pa; both are starting values of our own, to be set from the clean filter's
// drop. The deadband is 2 % (EEMUA 191 for pressure) of a 500 Pa range, the
// delays of 15 s are common practice for pressure, from memory.
func FilterDropRules(ch string) []Rule {
	rule := func(what string, p Priority, limit float64, means, doFirst string) Rule {
		return Rule{
			Name: ch + "_" + what, Channel: ch, Kind: Above, Priority: p,
			Limit: limit, Deadband: 10, OnDelay: 15 * time.Second, OffDelay: 15 * time.Second,
			Means: means, DoFirst: doFirst,
		}
	}
	return []Rule{
		rule("caution", Caution, 250,
			"The filter is filling up with dust.",
			"Plan to clean it after this run, and open it only when it is cold and you stand upwind."),
		rule("alarm", High, 450,
			"The filter is clogged, and the engine may stall and leave gas in the rig.",
			"Take the load off and shut the rig down in the usual order. Open the filter only when it is cold and you stand upwind."),
	}
}

package alarms

import (
	"strings"
	"time"

	"charwarden/sensors"
)

// FaultRule is the rule of a channel that gives no value, for whatever reason
// (stale and clipped too). A loose plug that makes contact again stays known
// until somebody has acknowledged it; the fault of a CO cell is latched and
// can be neither shelved nor suppressed. It is no gas, and has not its sound.
//
// Its priority follows from what goes unwatched: alarm for CO; caution for
// temperature, pressure and speed, whose limits guard the hearth and the
// engine; notice for the rest and for the weather (air_...).
//
// The on-delay of 2 s rides over single bad reads, and good ones in between do
// not begin it anew (timer.ebb); delays are our own choice.
func FaultRule(ch sensors.Channel) Rule {
	r := built(ch.Name, "fault", Fault, Notice, 0, 0)
	r.OnDelay, r.OffDelay = 2*time.Second, 5*time.Second
	r.Means = "No usable value comes from " + ch.Name + ", so nobody is watching it."
	r.DoFirst = "Look at its plug and cable at the next pause."
	switch {
	case ch.Quantity == sensors.CO:
		r.Priority, r.Latch, r.Never = High, true, true
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
	r := built(ch, "unzeroed", Zeroing, Notice, 0, 0)
	r.OnDelay = 20 * time.Second
	r.Means = "The zero of " + ch + " was not taken, so its value cannot be trusted and its limits are not watched."
	r.DoFirst = "Take its zero while the engine stands and the rig is cold."
	return r
}

// SupplyRules are the levels of the pressure sensors' 5 V supply in V: they
// are made for 4.75 to 5.25 (MPXV7002 and MPX5010 datasheets, operating
// characteristics). Deadband and delays are own choice.
func SupplyRules(ch string) []Rule {
	low := built(ch, "low", Below, Caution, 4.75, 0.05)
	low.OnDelay, low.OffDelay = 5*time.Second, 10*time.Second
	low.Means = "The sensors' supply is low, so pressures may be wrong."
	low.DoFirst = "Look at the battery and its plugs at the next pause."

	high := built(ch, "high", Above, Notice, 5.25, 0.05)
	high.OnDelay, high.OffDelay = 5*time.Second, 10*time.Second
	high.Means = "The sensors' supply is high, so pressures may be wrong and the board may suffer."
	high.DoFirst = "Look at the regulator of the 5 V supply at the next pause."
	return []Rule{low, high}
}

// instrument begins a rule on what keeps the watch itself alive. The off-delay
// is own choice, and so are all limits below where no other source is given.
func instrument(ch, what string, k Kind, p Priority, limit, deadband float64, means, doFirst string) Rule {
	r := built(ch, what, k, p, limit, deadband)
	r.OffDelay, r.Means, r.DoFirst = 10*time.Second, means, doFirst
	return r
}

// BoardRule is the caution of the board's own temperature in degC: boards of
// the usual kind slow down from 80 on (Raspberry Pi documentation, from
// memory).
func BoardRule(ch string) Rule {
	r := instrument(ch, "caution", Above, Caution, 75, 5,
		"The board that watches the rig is nearly too hot, and will slow down.",
		"Give it shade and air, away from the hearth.")
	r.OnDelay = 60 * time.Second
	return r
}

// DiskRules are the levels of the room that is left for the run log, 0..1.
func DiskRules(ch string) []Rule {
	return []Rule{
		instrument(ch, "notice", Below, Notice, 0.10, 0.02,
			"The disk of the run log is nearly full.",
			"Copy old runs elsewhere and delete them from the board after this run."),
		instrument(ch, "caution", Below, Caution, 0.03, 0.01,
			"The disk is full, and this run will soon be written down no more. The alarms go on.",
			"Delete old runs from the board at the next pause."),
	}
}

// ClockRule is the notice of a wall clock that has not been right for an hour:
// a board without a clock battery starts with a wrong one. Seconds.
func ClockRule(ch string) Rule {
	return instrument(ch, "notice", Above, Notice, 3600, 60,
		"The board's clock may be wrong, so the times of this run may be too. Alarms do not go by it.",
		"Let the board reach the network, or set its clock, before the next run.")
}

// BusRule is the caution of a bus whose call has lasted for 3 s, which is how
// old a reading may be at most.
func BusRule(ch string) Rule {
	return instrument(ch, "caution", Above, Caution, 3, 2,
		"A bus hangs, and the sensors on it are not being watched.",
		"Look which channels are in fault and keep an eye on them yourself; shut down in the usual order if it does not come back.")
}

// BrokerRule is the notice of a broker that has been away for 60 s.
func BrokerRule(ch string) Rule {
	return instrument(ch, "notice", Above, Notice, 60, 30,
		"Nothing reaches your phone: the broker does not answer.",
		"Stay within earshot of the horn, and look at the network at the next pause.")
}

// LoopRule is the caution of a watch that comes 1 s late, ten of its usual
// steps.
func LoopRule(ch string) Rule {
	return instrument(ch, "caution", Above, Caution, 1, 0.5,
		"The board is too busy, and alarms come late.",
		"Watch the rig yourself, and end what else runs on the board.")
}

// StateRule is the caution of a disk that has not taken the daemon's state for
// 30 s: what stands would be forgotten by a power cut.
func StateRule(ch string) Rule {
	return instrument(ch, "caution", Above, Caution, 30, 10,
		"The disk does not take what must be remembered: a power cut would forget alarms and dose.",
		"Note what stands, and look at the board's disk at the next pause.")
}

// LogRule is the caution of a run log that has not reached the disk for 30 s.
func LogRule(ch string) Rule {
	return instrument(ch, "caution", Above, Caution, 30, 10,
		"This run is not being written down. The alarms go on.",
		"Note by hand what matters, and run `charwarden runs` at the next pause to see what is wrong with the disk.")
}

// OutputRule is the caution of a horn, lamp or pulse output that has failed for
// 1 s.
func OutputRule(ch string) Rule {
	return instrument(ch, "caution", Above, Caution, 1, 0.5,
		"An output of the board fails: horn, lamps, watch pulse or run permit may be dead.",
		"Keep the phone in sight, and run `charwarden check` at the next pause to see which one it is.")
}

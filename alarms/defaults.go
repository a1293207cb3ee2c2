package alarms

import "charwarden/sensors/derive/phase"

// The built-in rules stand in the files default_*.go, one constructor for each
// thing to watch. Every number there is a starting value: the configuration
// may change it, and the words "own choice" mark those without an outside
// source.

// The first words of a carbon monoxide alarm, and the last of one that stops
// the engine.
const (
	leaveNow  = "Leave now, upwind. Do not go back to shut anything or to silence the horn."
	fireBurns = "Ignition off does not stop the fire: gas may now come out."
)

// built begins a built-in rule; what is the second part of its name.
func built(ch, what string, k Kind, p Priority, limit, deadband float64) Rule {
	return Rule{Name: ch + "_" + what, Channel: ch, Kind: k, Priority: p, Limit: limit, Deadband: deadband}
}

// during is the While of phases.
func during(p ...phase.Phase) While { return While{Phases: p} }

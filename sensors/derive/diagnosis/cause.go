package diagnosis

import "fmt"

// Cause is what may have made the readings what they are.
type Cause uint8

const (
	FilterLoading Cause = iota
	FilterWet
	Tar
	FilterHole
	FilterFire
	CoolerDirty
	Fines
	Clinker
	NozzleBlocked
	Bridge
	HopperLow
	LeakHot
	LeakCold
	ReturnShut
	ReturnBig
	ReturnLeftOpen
	GasEscapes
	ExhaustLeak
	LidOpen
	Backfire
	WetCharcoal
	LongIdle
	LoadStep
	NozzleWorn
	SealLeak
	Thermocouple
	TapBlocked
	causes // how many there are
)

// about is what is told of a cause, whatever speaks for it.
type about struct {
	word   string
	title  string
	first  string
	danger bool // of gas, fire or explosion: first among equals
	normal bool // is no fault
}

var abouts = [causes]about{
	FilterLoading:  {"filter_loading", "the filter is full of dust", "Clean the filter at the next pause, when it is cold, and note the charcoal burnt since the last time.", false, false},
	FilterWet:      {"filter_wet", "the filter is wet with condensate", "Drain the traps and warm the filter housing. Dry the medium after the run.", false, false},
	Tar:            {"tar", "tar or fine soot blinds the filter", "Take the load off before the engine stalls. Change the medium when it is cold, and burn this charcoal out again or leave it.", false, false},
	FilterHole:     {"filter_hole", "gas passes beside the filter medium: a hole, or a medium or lid not seated", "Stop in the usual order. When it is cold, reseat or change the medium and look for dust behind it: dust wears the engine.", false, false},
	FilterFire:     {"filter_fire", "the filter is burning or about to", "Stop the engine and shut both ends. Keep the filter closed and keep away; open it only when it is cold.", true, false},
	CoolerDirty:    {"cooler_dirty", "the cooler is dirty or has no air", "Take load off; clean the cooler and give it air and shade after the run.", false, false},
	Fines:          {"fines", "fines or dust pack the bed or the grate", "Shake the grate lightly. If that does not help, stop; when it is cold, sieve the charcoal and empty the ash.", false, false},
	Clinker:        {"clinker", "clinker at the nozzle or in the hearth", "Plan to stop. When it is fully cold, rake the clinker out and look at the ash of this charcoal.", false, false},
	NozzleBlocked:  {"nozzle_blocked", "the nozzle or the air valve is nearly shut", "Open the air valve. If it is open, stop; free the nozzle when the rig is cold.", false, false},
	Bridge:         {"bridge", "charcoal bridges over a void above the fire", "Idle the engine and tap the hopper's side. Open the lid only as when refuelling; never lean over it.", true, false},
	HopperLow:      {"hopper_low", "the hopper is running empty", "Stop, or refuel in the usual way, before the hot gas reaches hoses and filter.", false, false},
	LeakHot:        {"leak_hot", "air leaks into the hot part: ash door, crack or lower seal", "Stop in the usual order. When it is cold, reseal it and test with soap water under the blower.", true, false},
	LeakCold:       {"leak_cold", "air leaks into the gas behind the hearth: hose, cooler or filter lid", "Stop in the usual order: air and gas in the filter can explode. Find the leak and seal it when it is cold.", true, false},
	ReturnShut:     {"return_shut", "the exhaust return is shut or plugged", "Look at the return valve; take load off if the wall goes on rising. Clear the line when it is cold.", false, false},
	ReturnBig:      {"return_big", "too much exhaust goes back to the hearth", "Trim the exhaust return down a little and give the wall minutes.", false, false},
	ReturnLeftOpen: {"return_left_open", "the exhaust return or the nozzle was left open at the stop", "From upwind, shut the return and every air inlet. Do not leave it alone while it stays hot.", true, false},
	GasEscapes:     {"gas_escapes", "gas escapes while nothing draws it", "Go upwind. Shut the valves only when the air is proved clear, and stay out of sheds.", true, false},
	ExhaustLeak:    {"exhaust_leak", "engine exhaust reaches the operator: a leak, or the wind", "Go upwind. Repair the exhaust before the next run.", true, false},
	LidOpen:        {"lid_open", "the lid is open, as for refuelling", "If you are refuelling, stand upwind, burn off the gas, close the lid, note time and kg. If you are not, stop.", true, false},
	Backfire:       {"backfire", "puffs or backfires", "Stand clear of lid and filter, and stop if it goes on. Air that leaks into the gas pipe is the usual reason; then look at mixture and timing.", true, false},
	WetCharcoal:    {"wet_charcoal", "the charcoal is wet", "Take dry charcoal at the next refuelling; drain the traps; turn any water drip down.", false, false},
	LongIdle:       {"long_idle", "the rig has idled for long", "Load it up, or expect weak gas at the next load.", false, true},
	LoadStep:       {"load_step", "the load has changed", "Nothing. Trim the air again if the engine wants it.", false, true},
	NozzleWorn:     {"nozzle_worn", "the nozzle or the lining is worn wide", "When it is cold, look at nozzle, lining and scale; meanwhile use more exhaust return.", false, false},
	SealLeak:       {"seal_leak", "a lid or valve does not seal", "Stay with it, upwind, until it is cold. Change the gasket before the next run.", true, false},
	Thermocouple:   {"thermocouple", "one thermocouple is wrong", "Take that place as not watched. At the next pause look at its plug, its polarity and its tip.", false, false},
	TapBlocked:     {"tap_blocked", "a pressure tap or tube is blocked or holds water", "Blow the tubes out at the next pause and lay them so that they drain.", false, false},
}

// String returns the word that the outside sees.
func (c Cause) String() string {
	if c >= causes {
		return fmt.Sprintf("cause(%d)", uint8(c))
	}
	return abouts[c].word
}

// Causes lists every cause.
func Causes() []Cause {
	all := make([]Cause, causes)
	for i := range all {
		all[i] = Cause(i)
	}
	return all
}

// Title says for people what it is.
func (c Cause) Title() string { return abouts[c].title }

// First says what to do first.
func (c Cause) First() string { return abouts[c].first }

// Danger reports whether it endangers people by gas, fire or explosion.
func (c Cause) Danger() bool { return abouts[c].danger }

// Normal reports whether it is no fault but a part of running.
func (c Cause) Normal() bool { return abouts[c].normal }

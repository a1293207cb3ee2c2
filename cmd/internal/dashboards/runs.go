package dashboards

import (
	"fmt"

	"github.com/grafana/grafana-foundation-sdk/go/cog"
	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
	"github.com/grafana/grafana-foundation-sdk/go/units"

	"charwarden/alarms"
	"charwarden/cmd/internal/names"
	"charwarden/sensors/derive/phase"
)

// runs puts runs side by side. Runs of different days share no time axis, so
// they are compared by figures over each whole run, and by charts over the
// run's own clock, its charcoal or its load.
func runs() board {
	return board{
		uid: "charwarden-runs", title: "charwarden: runs compared",
		about: "Runs that were exported with their number. Choose a time range that holds all of them: figures are over each run, " +
			"and points of a chart become finer as the range becomes shorter. Differences may be chance, weather or another load; the report of the runs says which are larger than their uncertainty.",
		from: "now-30d",
		variables: []cog.Builder[dashboard.VariableModel]{
			sourceVariable(),
			choice(varRun, "runs", names.ChannelUp, labelRun, ".+", "Numbers of the runs to compare; live data has none and is left out.", true),
		},
		rows: []row{
			{"Figures of each run", figuresOfRuns()},
			{"At the same load, charcoal or age of the run", sideBySide()},
			{"Alarms", alarmsOfRuns()},
		},
	}
}

// running is 1 while the engine ran on gas.
var running = "(" + ofRuns(names.Phase, is(names.LabelPhase, phase.Running.String())) + " == 1)"

// sealed is 1 after the stop.
var sealed = "(" + ofRuns(names.Phase, is(names.LabelPhase, phase.Sealed.String())) + " == 1)"

// channel is a channel of the chosen runs.
func channel(metric, name string) string { return ofRuns(metric, is(labelChannel, name)) }

// good is the part of series of channels in which the channels were up: an
// exported series is read on for 5 minutes past its end.
func good(series string) string {
	return fmt.Sprintf("(%s and on (%s, %s) %s == 1)", series, labelRun, labelChannel, ofRuns(names.ChannelUp))
}

// whileRunning is the part of an expression in which the engine ran.
func whileRunning(expr string) string { return "(" + expr + " and on (run) " + running + ")" }

// mean over a run; expr may be any instant expression.
func mean(expr string) string {
	return fmt.Sprintf("avg by (run) (avg_over_time(%s[$__range:%ds]))", expr, grain)
}

// total is the integral over a run, in seconds times expr's unit.
func total(expr string) string {
	return fmt.Sprintf("max by (run) (sum_over_time(%s[$__range:%ds])) * %[2]d", expr, grain)
}

// highest, lowest and newest value of series in a run.
func highest(series string) string { return "max by (run) (max_over_time(" + series + "[$__range]))" }
func lowest(series string) string  { return "min by (run) (min_over_time(" + series + "[$__range]))" }
func newest(series string) string  { return "max by (run) (last_over_time(" + series + "[$__range]))" }

// most and least are highest and lowest of any instant expression.
func most(expr string) string {
	return fmt.Sprintf("max by (run) (max_over_time(%s[$__range:%ds]))", expr, grain)
}

func least(expr string) string {
	return fmt.Sprintf("min by (run) (min_over_time(%s[$__range:%ds]))", expr, grain)
}

// since is the seconds since expr first had a value in the run.
func since(expr string) string {
	return "(time() - min by (run) (min_over_time(timestamp(" + expr + ")[$__range:1m] @ end())))"
}

var (
	burnt     = channel(names.MassKilograms, "charcoal_burnt")
	flow      = channel(names.MassFlowKgPerHour, "charcoal_flow")
	gasFlow   = channel(names.GasFlowNm3PerHour, "gas_flow")
	loading   = channel(names.LoadingPercent, "filter_loading")
	power     = channel(names.PowerWatts, "shaft_power")
	tau       = channel(names.AgeSeconds, "cooldown_tau")
	seals     = channel(names.Ratio, "seal_health")
	airTemp   = channel(names.TemperatureCelsius, "air_temp")
	gasOut    = channel(names.TemperatureCelsius, "gas_out")
	suction   = channel(names.PressurePascals, "suction")
	speed     = ofRuns(names.SpeedRpm)
	co        = ofRuns(names.COPpm)
	wallTemps = ofRuns(names.TemperatureCelsius, walls)

	hottest  = "max by (run) (" + good(wallTemps) + ")"
	burntNow = highest(burnt) + " - " + lowest(burnt)
	kWh      = "(" + total(good(power)) + " / 3600000)"
	anyPhase = ofRuns(names.Phase, is(names.LabelPhase, phase.Running.String()))
)

func figuresOfRuns() []panel {
	return []panel{
		tableOf(panel{title: "Charcoal and engine, run by run", width: 24, high: 9,
			look: "One row a run. kg/kWh at a like load is the figure to compare batches by; power is reckoned, not measured. A run that a power cut ended may count up to 5 minutes too much."},
			column{"first reading", units.DatetimeISO, "min by (run) (min_over_time(timestamp(" + anyPhase + ")[$__range:1m])) * 1000"},
			column{"engine ran", units.Seconds, total(running)},
			column{"charcoal burnt", units.Kilogram, burntNow},
			column{"mean burnt an hour", kgPerHour, mean(whileRunning(good(flow)))},
			column{"work done", units.KiloWattHour, kWh},
			column{"charcoal for a kWh", kgPerKWh, "(" + burntNow + ") / (" + kWh + " > 0)"},
			column{"mean speed", units.RevolutionsPerMinute, mean(whileRunning(good(speed)))},
			column{"mean gas flow", nm3PerHour, mean(whileRunning(good(gasFlow)))},
		),
		tableOf(panel{title: "Heat, filter, air and seals, run by run", width: 24, high: 9,
			look: "One row a run. Compare walls only at a like gas flow; a wall in fault is left out of its mean. Loading that rises more for each kilogram is dustier charcoal or a hole that closes; a longer cool-down is a leaking seal."},
			column{"hottest wall", units.Celsius, highest(wallTemps)},
			column{"mean of the hottest wall", units.Celsius, mean(whileRunning(hottest))},
			column{"hottest gas", units.Celsius, highest(gasOut)},
			column{"mean suction", units.Pascals, mean(whileRunning(good(suction)))},
			column{"filter at the most", units.Percent, highest(loading)},
			column{"filter's rise", percentPerKg, "(" + most(whileRunning(good(loading))) + " - " + least(whileRunning(good(loading))) + ") / (" + burntNow + " > 0)"},
			column{"highest CO", units.PartsPerMillion, highest(co)},
			column{"cool-down", units.Seconds, newest(tau)},
			column{"seals", units.PercentUnit, newest(seals)},
			column{"mean air", units.Celsius, mean(good(airTemp))},
		),
		{title: "Charcoal burnt in an hour, by run", draw: runBars, width: 8, unit: kgPerHour,
			look:    "Mean while the engine ran.",
			queries: []query{{mean(whileRunning(good(flow))), "run {{run}}"}}},
		{title: "Hottest wall, by run", draw: runBars, width: 8, unit: units.Celsius,
			look:    "The peak of each run, against the limits for bare carbon steel.",
			queries: []query{{highest(wallTemps), "run {{run}}"}},
			limits:  limits("wall", alarms.WallRules("wall", alarms.CarbonSteel)...)},
		{title: "Highest carbon monoxide, by run", draw: runBars, width: 8, unit: units.PartsPerMillion,
			look:    "The peak of each run where the operator stands; it should be near 0 in the open air.",
			queries: []query{{highest(co), "run {{run}}"}},
			limits:  limits("co", alarms.CORules("co")...)},
	}
}

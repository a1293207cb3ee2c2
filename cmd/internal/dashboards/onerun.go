package dashboards

import (
	"github.com/grafana/grafana-foundation-sdk/go/cog"
	"github.com/grafana/grafana-foundation-sdk/go/dashboard"

	"charwarden/alarms"
	"charwarden/cmd/internal/names"
)

// oneRun is the rig while it runs, or one run afterwards.
func oneRun() board {
	return board{
		uid: "charwarden-one-run", title: "charwarden: one run",
		about: "One rig, live or afterwards. Choose the run and the time; coloured bands are the built-in limits, yours may differ. " +
			"An aid for looking back, not a certified life-safety device: the horn at the rig comes first.",
		from: "now-3h", refresh: "10s",
		variables: []cog.Builder[dashboard.VariableModel]{
			sourceVariable(),
			choice(varRun, "run", names.ChannelUp, labelRun, ".*", "Number of a run that was exported with its number; All has live data too.", false),
			choice(varRig, "rig", names.ChannelUp, labelRig, ".*", "Name of the rig, where scrapes or exports give it.", false),
		},
		notes: []annotation{
			{"Alarms", "max by (alarm, priority) (" + peak(series(names.AlarmState, standing, in(names.LabelPriority, "caution|alarm|evacuate"))) + ") > 0",
				"{{alarm}}", "{{priority}}: from when it came until it was over and somebody had acknowledged it", "red"},
			{"Phases", began(series(names.Phase)), "{{phase}}", "the rig came into this phase", "blue"},
		},
		rows: []row{
			{"At a glance", glance()},
			{"Walls of the hearth", hearth()},
			{"Gas and filter", gasAndFilter()},
			{"Carbon monoxide", monoxide()},
			{"Engine and charcoal", engine()},
			{"After the stop", afterStop()},
			{"Health of the instrument", health()},
		},
	}
}

// began is 1 where a 0 or 1 series turns 1.
func began(series string) string {
	return "(" + series + " == 1) unless (" + series + " offset $__interval == 1)"
}

// priority is which priority the alarms that stand have, as 1 to 4: a series
// an alarm.
func priority() string {
	expr := ""
	for p := alarms.Notice; p <= alarms.Evacuate; p++ {
		if p > alarms.Notice {
			expr += " or "
		}
		expr += "(max by (alarm) (" + peak(series(names.AlarmState, standing, is(names.LabelPriority, p.String()))) + ") > 0) * " + string(rune('1'+p))
	}
	return expr
}

func glance() []panel {
	called := map[string]word{}
	for p := alarms.Notice; p <= alarms.Evacuate; p++ {
		called[string(rune('1'+p))] = word{p.String(), colours[p]}
	}
	return []panel{
		{title: "Is anybody watching", draw: figures, width: 6, high: 5, unit: unitOf(names.LoopAgeSeconds),
			look:    "Seconds since the daemon last judged the rig. Above 3, or without data at the end of a live time range, nobody is watching: go by the rig's own buzzer and your eyes.",
			queries: []query{{series(names.LoopAgeSeconds), "loop last heard"}},
			limits:  []limit{{at: 0, colour: "green"}, {at: 3, colour: colours[alarms.Evacuate]}}},
		{title: "Alarms that stand", draw: figures, width: 10, high: 5, unit: unitOf(names.AlarmStanding),
			look:    "How many alarms stand at the end of the time range, by priority. No data is not zero: then nobody knows.",
			queries: []query{{"max by (priority) (" + series(names.AlarmStanding) + ")", "{{priority}}"}},
			limits:  []limit{{at: 0, colour: "green"}, {at: 1, colour: colours[alarms.High]}}},
		{title: "Channels with a good value", draw: figures, width: 8, high: 5, unit: unitOf(names.ChannelUp),
			look: "How many channels give a good value and how many do not, at the end of the time range. Some derived ones have a value in some phases only.",
			queries: []query{
				{"count(" + series(names.ChannelUp) + " == 1)", "good"},
				{"count(" + series(names.ChannelUp) + " == 0)", "without a value"}},
			limits: []limit{{at: 0, colour: "blue"}}},
		{title: "Phase of the rig", draw: bands, width: 24, high: 5, unit: unitOf(names.Phase),
			look:    "Which phase the daemon took the rig to be in. Alarms that make sense in one phase only are suppressed in the others, so a wrong phase matters.",
			queries: []query{{"max by (phase) (" + series(names.Phase) + ") == 1", "{{phase}}"}},
			words:   map[string]word{"1": {"in it", "blue"}}},
		{title: "Alarms that stood", draw: bands, width: 24, high: 8, unit: unitOf(names.AlarmState),
			look:    "One row for each alarm that stood in this time, as long as it stood. The one that begins first is the one to understand first. An empty panel means none, if the phase above has no gaps.",
			queries: []query{{priority(), "{{alarm}}"}},
			words:   called},
	}
}

func hearth() []panel {
	steel := alarms.WallRules("wall", alarms.CarbonSteel)
	return []panel{
		{title: "Walls against their limits", draw: lines, width: 16, high: 10, unit: unitOf(names.TemperatureCelsius),
			look:    "Highest wall temperature in each step. Bands: notice, caution, alarm and stop for bare carbon steel. Look for a steady climb at the same load, and for the two sides drifting apart.",
			queries: []query{{top(names.TemperatureCelsius, walls), "{{channel}}"}},
			limits:  limits("wall", steel...)},
		{title: "Walls against the last run", draw: lines, width: 8, high: 10, unit: unitOf(names.DifferenceKelvins),
			look:    "How much hotter than in the run before, at the same load; no line until both have settled there. Above 40 K look at the return valve, the nozzle and the lining.",
			queries: []query{{value(names.DifferenceKelvins, channels("wall_.+_hotter")), "{{channel}}"}},
			limits:  limits("hotter", alarms.HotterRule("hotter"))},
		{title: "Time that the walls spent above their caution limit", draw: lines, unit: unitOf(names.AgeSeconds),
			look:    "Seconds above the caution limit in this run. Steel burns away in this time; it should stay flat.",
			queries: []query{{value(names.AgeSeconds, channels("wall_.+_over")), "{{channel}}"}}},
		{title: "Scale on the walls", draw: lines, unit: unitOf(names.ThicknessMM),
			look:    "Steel that all time at heat has turned to scale, an estimate by half. It never gets less; a step up in one run was a hot run.",
			queries: []query{{value(names.ThicknessMM, channels("wall_.+_scale")), "{{channel}}"}}},
	}
}

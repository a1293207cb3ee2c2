package dashboards

import (
	"fmt"

	"github.com/grafana/grafana-foundation-sdk/go/units"

	"charwarden/cmd/internal/names"
)

// sideBySide are charts in which runs lie over each other.
func sideBySide() []panel {
	perRunOf := func(expr string) string { return "max by (run) (" + expr + ")" }
	clock := column{"since the first reading", units.Seconds, since(anyPhase) + " and on (run) " + anyPhase}
	return []panel{
		chartOf(panel{title: "Hottest wall over gas flow", high: 10,
			look: "While the engine ran. A run whose cloud lies higher has hotter walls at the same load: less return, a worn nozzle or lining, a hollow."},
			column{"gas flow", nm3PerHour, perRunOf(whileRunning(good(gasFlow)))},
			column{"hottest wall", units.Celsius, whileRunning(hottest)}),
		chartOf(panel{title: "Filter loading over charcoal burnt", high: 10,
			look: "While the engine ran. Where a line begins is how clean the filter was, its slope is the dust of the charcoal; a sudden step is water."},
			column{"burnt in this run", units.Kilogram, whileRunning(perRunOf(good(burnt)) + " - on (run) min by (run) (min_over_time(" + burnt + "[$__range] @ end()))")},
			column{"loading", units.Percent, perRunOf(whileRunning(good(loading)))}),
		chartOf(panel{title: "Hottest wall by the run's own clock", high: 10,
			look: "All runs begin at 0: how fast each warmed up, where it settled, how it cooled."},
			clock,
			column{"hottest wall", units.Celsius, hottest}),
		chartOf(panel{title: "Engine speed by the run's own clock", high: 10,
			look: "All runs begin at 0: time from lighting to the engine, and how steadily it ran."},
			clock,
			column{"speed", units.RevolutionsPerMinute, perRunOf(good(speed))}),
		chartOf(panel{title: "Charcoal by the run's own clock", high: 10,
			look: "All runs begin at 0: a steeper climb burns more."},
			clock,
			column{"burnt in this run", units.Kilogram, perRunOf(good(burnt)) + " - on (run) min by (run) (min_over_time(" + burnt + "[$__range] @ end()))"}),
		chartOf(panel{title: "Cool-down after the stop", high: 10,
			look: "All runs begin when they were sealed: kelvins of the hottest wall above the air. A run that stays above the others gets air through a seal."},
			column{"since it was sealed", units.Seconds, since(sealed) + " and on (run) " + sealed},
			column{"above the air", units.Kelvin, "(" + hottest + " - on (run) " + perRunOf(good(airTemp)) + ") and on (run) " + sealed}),
	}
}

func alarmsOfRuns() []panel {
	stood := ofRuns(names.AlarmState, standing)
	return []panel{
		{title: "Alarms that stood, by run", draw: runBars, width: 8, high: 10, unit: units.Number,
			look:    "How many different alarms above a notice stood at some time in each run.",
			queries: []query{{"count by (run) (max by (run, alarm) (max_over_time(" + ofRuns(names.AlarmState, standing, in(names.LabelPriority, "caution|alarm|evacuate")) + "[$__range])) == 1) or 0 * count by (run) (count_over_time(" + anyPhase + "[$__range]))", "run {{run}}"}}},
		tableOf(panel{title: "Which alarms stood in which run", width: 16, high: 10,
			look: "Share of the run for which each alarm stood, came and waiting for somebody included. One that comes back run after run is worth its cause."},
			column{"of the run", units.PercentUnit, fmt.Sprintf("sum by (run, priority, alarm) (avg_over_time(%s[$__range:%ds])) and max by (run, priority, alarm) (max_over_time(%[1]s[$__range])) == 1", stood, grain)}),
	}
}

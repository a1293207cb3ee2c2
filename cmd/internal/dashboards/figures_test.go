package dashboards

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"charwarden/cmd/internal/names"
)

// checkFigures compares what the tables say of the made-up runs with what they
// are made of.
func checkFigures(t *testing.T, s store) {
	t.Helper()
	queries := map[string]readTarget{}
	for _, d := range readAll(t) {
		for _, p := range d.Panels {
			for i, o := range p.FieldConfig.Overrides {
				if p.Type == "table" {
					queries[o.Matcher.Options.(string)] = p.Targets[i]
				}
			}
			if p.Type == "bargauge" {
				queries[p.Title] = p.Targets[0]
			}
		}
	}
	for _, tc := range []struct {
		column string
		want   [2]float64 // of runs 7 and 8
		within float64    // as a part of it: steps of 15 s in an hour
	}{
		{"first reading", [2]float64{float64(synthRuns[0].begin.UnixMilli()), float64(synthRuns[1].begin.UnixMilli())}, 1e-12},
		{"engine ran", [2]float64{3600, 3600}, 0.01},
		{"charcoal burnt", [2]float64{2, 2.4}, 1e-6},
		{"mean burnt an hour", [2]float64{2, 2.4}, 1e-6},
		{"work done", [2]float64{1.6, 1.5}, 0.01},
		{"charcoal for a kWh", [2]float64{2 / 1.6, 2.4 / 1.5}, 0.01},
		{"mean speed", [2]float64{3000, 3000}, 1e-6},
		{"mean gas flow", [2]float64{9, 9.5}, 1e-6},
		{"hottest wall", [2]float64{470, 560}, 1e-6},
		{"mean of the hottest wall", [2]float64{470, 560}, 0.01},
		{"mean suction", [2]float64{520, 520}, 1e-6},
		{"filter at the most", [2]float64{11, 18}, 0.01},
		{"filter's rise", [2]float64{6 / 2., 6 / 2.4}, 0.01},
		{"highest CO", [2]float64{2, 250}, 1e-6},
		{"cool-down", [2]float64{5400, 6000}, 1e-6},
		{"seals", [2]float64{0.95, 0.95}, 1e-6},
		{"mean air", [2]float64{20, 20}, 1e-6},
		{"Alarms that stood, by run", [2]float64{1, 5}, 1e-6}, // wall_far_fault; and co_*, wall_near_caution
	} {
		q, ok := queries[tc.column]
		if !ok {
			t.Errorf("no column %q", tc.column)
			continue
		}
		got := map[string]float64{}
		for _, a := range s.ask(t, q.Expr, true, 0) {
			got[a.Metric[labelRun]] = a.last(t)
		}
		for i, r := range synthRuns {
			if v, ok := got[r.number]; !ok || math.Abs(v-tc.want[i]) > tc.within*math.Abs(tc.want[i]) || len(got) != 2 {
				t.Errorf("%s: run %s: %g of %d runs, want %g", tc.column, r.number, v, len(got), tc.want[i])
			}
		}
	}
	checkClocks(t, s)
	checkGap(t, s)
}

// checkGap: a channel in fault is not drawn on, though a backfilled series can be
// read for 5 minutes past its end.
func checkGap(t *testing.T, s store) {
	t.Helper()
	for _, expr := range []string{
		top(names.TemperatureCelsius, walls), value(names.TemperatureCelsius, walls),
	} {
		at := map[string]bool{} // by "39m": whether there was a value in the half minute from there on
		for _, a := range s.ask(t, expr, false, 0) {
			if a.Metric[labelRun] != "7" || a.Metric[labelChannel] != "wall_far" {
				continue
			}
			for _, v := range a.Values {
				age := time.Duration(v[0].(float64)*1e3)*time.Millisecond - time.Duration(synthRuns[0].begin.UnixMilli())*time.Millisecond
				at[age.Truncate(30*time.Second).String()] = true
			}
		}
		if !at["39m0s"] || at["40m30s"] || !at["41m30s"] {
			t.Errorf("a plug is open from 40 to 41 min: value before %v, in it %v, after it %v:\n%s", at["39m0s"], at["40m30s"], at["41m30s"], expr)
		}
	}
}

// checkClocks: runs of different days begin at 0 in the charts, and end when
// they end.
func checkClocks(t *testing.T, s store) {
	t.Helper()
	seen := 0
	for _, d := range readAll(t) {
		for _, p := range d.Panels {
			if p.Type != "xychart" || !strings.Contains(p.Targets[0].Expr, "time()") {
				continue
			}
			seen++
			var runs []string
			longest := synthLast.Seconds()
			if strings.Contains(p.Title, "stop") {
				longest = 1800
			}
			for _, a := range s.ask(t, p.Targets[0].Expr, false, 0) {
				runs = append(runs, a.Metric[labelRun])
				first := answer{Value: a.Values[0]}.last(t)
				// The start is found to the minute; a series ends 5 min after its last sample.
				if last := a.last(t); math.Abs(first) > 60 || last < longest-60 || last > longest+360 {
					t.Errorf("%s: run %s is %g to %g s old, want 0 to %g", p.Title, a.Metric[labelRun], first, last, longest)
				}
			}
			if slices.Sort(runs); !slices.Equal(runs, []string{"7", "8"}) {
				t.Errorf("%s: runs %q", p.Title, runs)
			}
		}
	}
	if seen < 4 {
		t.Errorf("only %d charts by a clock", seen)
	}
}

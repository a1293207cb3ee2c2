package dashboards

import (
	"regexp"
	"strings"
	"testing"

	"charwarden/cmd/internal/names"
)

// A second table of what a metric's ending means, with the units' ids as
// Grafana's list of value formats has them (packages/grafana-data,
// valueFormats/categories.ts).
var grafanaUnits = []struct{ suffix, unit string }{
	{"_pascals_per_minute", "suffix:Pa/min"},
	{"_kilograms_per_hour", "suffix:kg/h"},
	{"_megajoules_per_nm3", "suffix:MJ/Nm³"},
	{"_nm3_per_hour", "suffix:Nm³/h"},
	{"_celsius", "celsius"}, {"_kelvins", "kelvin"}, {"_pascals", "pressurepa"}, {"_ppm", "ppm"},
	{"_rpm", "rotrpm"}, {"_volts", "volt"}, {"_watts", "watt"}, {"_seconds", "s"}, {"_percent", "percent"},
	{"_ratio", "percentunit"}, {"_kilograms", "masskg"}, {"_millimeters", "lengthmm"},
	{"_bytes", "decbytes"}, {"_total", "none"}, {"_state", "none"}, {"_standing", "none"}, {"_up", "none"}, {"_phase", "none"}, {"_connected", "none"},
}

func grafanaUnit(metric string) string {
	for _, u := range grafanaUnits {
		if strings.HasSuffix(metric, u.suffix) {
			return u.unit
		}
	}
	return "?"
}

// What is reckoned in the query and has another unit than the metric in it.
var reckonedUnits = map[string]string{
	"first reading":           "dateTimeAsIso", // a time, in ms
	"engine ran":              "s",             // count of steps that long
	"work done":               "kwatth",        // W over s
	"charcoal for a kWh":      "suffix:kg/kWh",
	"filter's rise":           "suffix:%/kg",
	"since the first reading": "s",
	"since it was sealed":     "s",
	"above the air":           "kelvin", // difference of two temperatures
	"of the run":              "percentunit",
}

// conditions are the parts of an expression that only choose when or how much,
// without adding a unit.
var conditions = regexp.MustCompile(`and on \([a-z, ]+\) \(?(` + names.Phase + `|` + names.ChannelUp + `)\{[^}]*\}( == 1\))?|or 0 \* count by \(run\).*$`)

func TestUnitsFitTheMetrics(t *testing.T) {
	seen := 0
	check := func(where, unit, expr string) {
		for _, m := range metricsOf(conditions.ReplaceAllString(expr, "")) {
			seen++
			if want := grafanaUnit(m); unit != want {
				t.Errorf("%s: unit %q, but %s wants %q", where, unit, m, want)
			}
		}
	}
	for _, d := range readAll(t) {
		for _, p := range d.Panels {
			if p.Type != "table" && p.Type != "xychart" {
				for _, q := range p.Targets {
					check(p.Title, p.FieldConfig.Defaults.Unit, q.Expr)
				}
				continue
			}
			if len(p.FieldConfig.Overrides) != len(p.Targets) {
				t.Errorf("%s: %d columns, %d queries", p.Title, len(p.FieldConfig.Overrides), len(p.Targets))
				continue
			}
			for i, o := range p.FieldConfig.Overrides {
				name, unit := o.Matcher.Options.(string), o.Properties[0].Value.(string)
				if want, ok := reckonedUnits[name]; ok {
					if unit != want {
						t.Errorf("%s: %s has unit %q, want %q", p.Title, name, unit, want)
					}
					continue
				}
				check(p.Title+": "+name, unit, p.Targets[i].Expr)
			}
		}
	}
	if seen < 60 {
		t.Errorf("only %d metrics seen", seen)
	}
}

// Every quantity's family has a unit here.
func TestUnitOf(t *testing.T) {
	for m := range known(t) {
		got, want := unitOf(m), grafanaUnit(m)
		switch m {
		case names.BuildInfo, names.RunPermit: // plain numbers
			want = "none"
		}
		if got != want {
			t.Errorf("%s: %q, want %q", m, got, want)
		}
	}
}

package dashboards

import (
	"fmt"
	"testing"

	"charwarden/alarms"
)

// The limits are the engine's own, in their order, with the colour from where
// to where.
func TestThresholds(t *testing.T) {
	for _, tc := range []struct {
		what string
		all  []limit
		want string
	}{
		{"none", nil, "transparent"},
		{"walls", limits("wall", alarms.WallRules("wall", alarms.CarbonSteel)...),
			"transparent 480 super-light-blue 540 light-yellow 600 orange 650 dark-red"},
		{"carbon monoxide", limits("co", alarms.CORules("co")...), "transparent 25 light-yellow 100 orange 200 dark-red"},
		{"supply, below and above", limits("supply", alarms.SupplyRules("supply")...), "light-yellow 4.75 transparent 5.25 super-light-blue"},
		{"disk, below twice", limits("disk", alarms.DiskRules("disk")...), "light-yellow 0.03 super-light-blue 0.1 transparent"},
		{"loading, hole and dust", limits("l", alarms.FilterLoadingRules("l", "s", 0)...), "light-yellow -15 transparent 50 light-yellow 100 orange"},
		{"another channel", limits("speed", alarms.CORules("co")...), "transparent"},
	} {
		made, err := thresholds(tc.all).Build()
		if err != nil {
			t.Fatal(err)
		}
		got := made.Steps[0].Color
		if made.Steps[0].Value != nil {
			t.Errorf("%s: the base begins at %g", tc.what, *made.Steps[0].Value)
		}
		for _, s := range made.Steps[1:] {
			got += fmt.Sprintf(" %g %s", *s.Value, s.Color)
		}
		if got != tc.want {
			t.Errorf("%s: %s, want %s", tc.what, got, tc.want)
		}
	}
}

package dashboards

import (
	"cmp"
	"slices"

	"github.com/grafana/grafana-foundation-sdk/go/dashboard"

	"charwarden/alarms"
)

// limit is where the colour behind a graph changes: from there up, or down if
// below is set.
type limit struct {
	at     float64
	colour string
	below  bool
}

// colours of the priorities: light to dark, blue to red, so that they differ in
// black and white too.
var colours = [...]string{
	alarms.Notice:   "super-light-blue",
	alarms.Caution:  "light-yellow",
	alarms.High:     "orange",
	alarms.Evacuate: "dark-red",
}

// none is the colour of what is in order.
const none = "transparent"

// limits are the built-in ones of a channel: those of rules that compare its
// value itself, upwards. A limit that stops the engine has the colour of
// evacuate.
func limits(channel string, rules ...alarms.Rule) (all []limit) {
	for _, r := range rules {
		if r.Channel != channel || r.Kind != alarms.Above && r.Kind != alarms.Below {
			continue
		}
		l := limit{at: r.Limit, colour: colours[r.Priority], below: r.Kind == alarms.Below}
		if r.Stops {
			l.colour = colours[alarms.Evacuate]
		}
		all = append(all, l)
	}
	slices.SortFunc(all, func(a, b limit) int { return cmp.Compare(a.at, b.at) })
	return all
}

// thresholds are limits, sorted upwards, as Grafana has them: a base colour, and where the
// next begins, upwards.
func thresholds(all []limit) *dashboard.ThresholdsConfigBuilder {
	base := none
	var steps []dashboard.Threshold
	add := func(at float64, colour string) {
		steps = append(steps, dashboard.Threshold{Value: &at, Color: colour})
	}
	for i, l := range all {
		if !l.below {
			add(l.at, l.colour)
			continue
		}
		if i == 0 {
			base = l.colour
		}
		next := none
		if i+1 < len(all) && all[i+1].below {
			next = all[i+1].colour
		}
		add(l.at, next)
	}
	steps = append([]dashboard.Threshold{{Color: base}}, steps...)
	return dashboard.NewThresholdsConfigBuilder().Mode(dashboard.ThresholdsModeAbsolute).Steps(steps)
}

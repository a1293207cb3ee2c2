package dashboards

import (
	"fmt"
	"strings"

	"charwarden/alarms"
	"charwarden/cmd/internal/names"
)

// query is one expression of a panel. In its legend {{label}} is a label's value.
type query struct{ expr, legend string }

// Labels that an export gives to each series on demand; a scrape gives the
// second (deploy/prometheus/prometheus.yml).
const (
	labelRun = "run"
	labelRig = "rig"
)

// The dashboards' variables.
const (
	varSource = "datasource"
	varRun    = "run"
	varRig    = "rig"
)

// steps of a subquery over a whole run. Fine enough for means and sums over
// hours, coarse enough for a month.
const grain = 15 // s

// series of a metric that belong to the chosen run and rig. All matches those
// without the label too.
func series(metric string, matchers ...string) string {
	return chosen(metric, append([]string{
		fmt.Sprintf(`%s=~"$%s"`, labelRun, varRun),
		fmt.Sprintf(`%s=~"$%s"`, labelRig, varRig),
	}, matchers...))
}

// ofRuns are the series of a metric that belong to the chosen runs.
func ofRuns(metric string, matchers ...string) string {
	return chosen(metric, append([]string{fmt.Sprintf(`%s=~"$%s"`, labelRun, varRun)}, matchers...))
}

func chosen(metric string, matchers []string) string {
	return metric + "{" + strings.Join(matchers, ",") + "}"
}

// is matches one value of a label, in matches a regular expression.
func is(label, value string) string { return fmt.Sprintf("%s=%q", label, value) }
func in(label, expr string) string  { return fmt.Sprintf("%s=~%q", label, expr) }

// channels matches channels by name.
func channels(names ...string) string { return in(labelChannel, strings.Join(names, "|")) }

const labelChannel = names.LabelChannel

// walls are the channels of the hearth's walls, not what is derived from them:
// those have other quantities.
var walls = channels("wall_.+")

// An exported run tells what stands (a state, a value that does not change) every
// 30 s only, a live one with every scrape; and only a live series ends when its
// channel goes bad: an exported one would be drawn on for 5 minutes. So a value
// counts only while its channel is up.

// upNow matches the channels that are up.
var upNow = fmt.Sprintf("and on (%s, %s, %s) %s == 1", labelRun, labelRig, labelChannel, series(names.ChannelUp))

// value of channels, while they are good.
func value(metric string, matchers ...string) string {
	return series(metric, matchers...) + " " + upNow
}

// top is the highest value of channels in each step of the graph, so that a step
// that is longer than a spike does not hide it.
func top(metric string, matchers ...string) string {
	return overStep("max", series(metric, matchers...)) + " " + upNow
}

// bottom is the lowest.
func bottom(metric string, matchers ...string) string {
	return overStep("min", series(metric, matchers...)) + " " + upNow
}

// peak and low are the highest and lowest value in each step of what is told
// whatever the channels do.
func peak(series string) string { return overStep("max", series) }
func low(series string) string  { return overStep("min", series) }

// overStep is an aggregate over each step, or what stands where nothing was told
// in it.
func overStep(what, series string) string {
	return what + "_over_time(" + series + "[$__rate_interval]) or " + series + " + 0"
}

// more is by how much a counter went up in each step.
func more(series string) string { return "increase(" + series + "[$__rate_interval])" }

// standing matches the states of an alarm that calls for a person.
var standing = func() string {
	var words []string
	for _, s := range alarms.States() {
		if s.Standing() {
			words = append(words, s.String())
		}
	}
	return in(names.LabelState, strings.Join(words, "|"))
}()

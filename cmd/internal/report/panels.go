package report

import (
	"math"
	"slices"
	"strings"

	"charwarden/sensors"
	"charwarden/sensors/derive/exposure"
	"charwarden/sensors/derive/filter"
	"charwarden/sensors/derive/flow"
	"charwarden/sensors/derive/fuel"
)

// charts are the pictures of a run, as far as its channels go.
func (r *run) charts() (all []*chart) {
	add := func(c *chart, zero bool) {
		if c != nil {
			all = append(all, c.scaled(zero))
		}
	}
	walls := r.fitted(r.rig.Walls...)
	if c := r.timed("Walls of the hearth", false, walls...); c != nil {
		r.limit(c, walls...)
		c.limits = slices.DeleteFunc(c.limits, func(l line) bool { return l.below }) // a cold wall is in doubt, not in danger
		c.tall = true
		add(c, false)
	}
	gas := r.fitted(r.rig.GasOut, r.rig.Return)
	if c := r.timed("Gas out of the hearth and exhaust return", false, gas...); c != nil {
		r.limit(c, r.rig.GasOut)
		add(c, false)
	}
	boxes := r.fitted(r.rig.FilterIn, r.rig.FilterOut)
	if c := r.timed("Gas before and behind the filter", false, boxes...); c != nil {
		r.limit(c, r.rig.FilterIn)
		add(c, false)
	}
	for _, co := range r.carbonMonoxide() {
		for _, c := range r.coCharts(co) {
			add(c, true)
		}
	}
	if c := r.timed("Suction at the hearth", false, r.fitted(r.rig.Suction)...); c != nil {
		r.limit(c, r.rig.Suction)
		add(c, true)
	}
	if c := r.timed("Pressure drop of the filter", false, r.fitted(r.rig.FilterDrop)...); c != nil {
		r.limit(c, r.rig.FilterDrop)
		add(c, true)
	}
	if c := r.overKg(r.rig.FilterDrop, "Pressure drop of the filter against charcoal burnt"); c != nil {
		r.limit(c, r.rig.FilterDrop)
		add(c, true)
	}
	if c := r.overKg(filter.Channel, "Filter loading against charcoal burnt"); c != nil {
		r.limit(c, filter.Channel)
		add(c, true)
	}
	if c := r.timed("Gas flow", false, r.fitted(flow.Channel)...); c != nil {
		add(c, true)
	}
	if c := r.timed("Speed of the engine", false, r.fitted(r.rig.Speed)...); c != nil {
		r.limit(c, r.rig.Speed)
		add(c, true)
	}
	if c := r.timed("Charcoal", false, r.fitted(fuel.LeftChannel, fuel.BurntChannel)...); c != nil {
		add(c, true)
	}
	r.rest(add)
	if r.end > r.to {
		if c := r.timed("Cooling: walls after the fire", true, r.fitted(append(walls, r.rig.GasOut)...)...); c != nil {
			add(c, false)
		}
		if c := r.timed("Cooling: carbon monoxide after the fire", true, r.carbonMonoxide()...); c != nil {
			for _, co := range r.carbonMonoxide() {
				r.limit(c, co)
			}
			add(c, true)
		}
	}
	return all
}

// carbonMonoxide are the CO channels, by their role or by what they measure.
func (r *run) carbonMonoxide() []string {
	if co := r.fitted(r.rig.CO...); co != nil {
		return co
	}
	return r.byQuantity(sensors.CO)
}

// coCharts are a cell's level and the dose that follows from it.
func (r *run) coCharts(co string) (all []*chart) {
	title, of := "Carbon monoxide in the air", ""
	if len(r.carbonMonoxide()) > 1 {
		title, of = "Carbon monoxide: "+plain(co), " at "+plain(co)
	}
	if c := r.timed(title, false, co); c != nil {
		r.limit(c, co)
		all = append(all, c)
	}
	var means, blood []string
	for _, ch := range exposure.Channels(co) {
		if ch.Quantity == sensors.Mean {
			means = append(means, ch.Name)
		} else {
			blood = append(blood, ch.Name)
		}
	}
	for _, part := range []struct {
		title    string
		channels []string
	}{{"Carbon monoxide breathed: averages" + of, means}, {"Carbon monoxide in the blood, by estimate" + of, blood}} {
		c := r.timed(part.title, false, part.channels...)
		if c == nil {
			continue
		}
		r.limit(c, part.channels...)
		for i := range c.curves {
			c.curves[i].name = doseName(strings.TrimPrefix(c.curves[i].name, plain(co)+" "))
		}
		for i := range c.limits {
			l := &c.limits[i]
			for _, ch := range part.channels {
				if rest, ok := strings.CutPrefix(l.name, plain(ch)+" "); ok {
					l.name = rest
				}
			}
		}
		if part.channels[0] == blood[0] {
			c.say("No blood test: reckoned for somebody who stood at the cell all the time.")
		}
		all = append(all, c)
	}
	return all
}

func doseName(what string) string {
	switch what {
	case "mean 5min":
		return "5 min"
	case "stel 15min":
		return "15 min"
	case "twa 8h":
		return "8 h"
	case "cohb":
		return "COHb"
	case "cohb linear":
		return "COHb, the cautious law"
	}
	return what
}

// rest are the inputs that none of the roles names, by quantity.
func (r *run) rest(add func(*chart, bool)) {
	named := append(append([]string{r.rig.GasOut, r.rig.Return, r.rig.FilterIn, r.rig.FilterOut, r.rig.Suction, r.rig.FilterDrop, r.rig.Speed},
		r.rig.Walls...), r.carbonMonoxide()...)
	for _, part := range []struct {
		q     sensors.Quantity
		title string
	}{
		{sensors.Temperature, "Other temperatures"}, {sensors.Pressure, "Other pressures"}, {sensors.Speed, "Other speeds"},
		{sensors.Mass, "Scales"}, {sensors.Voltage, "Supply"}, {sensors.Humidity, "Humidity"},
	} {
		var these []string
		for _, ch := range r.byQuantity(part.q) {
			if !slices.Contains(named, ch) {
				these = append(these, ch)
			}
		}
		if part.q == sensors.Temperature && r.rig.none() {
			part.title = "Temperatures"
		}
		// The pressure of the air would flatten all others.
		for len(these) > 0 {
			like := []string{these[0]}
			for _, ch := range these[1:] {
				if r.alike(these[0], ch) {
					like = append(like, ch)
				}
			}
			if c := r.timed(part.title, false, like...); c != nil {
				r.limit(c, like...)
				if len(like) == 1 {
					c.title = upper(plain(like[0]))
				}
				c.small = part.title != "Temperatures"
				add(c, false)
			}
			these = slices.DeleteFunc(these, func(ch string) bool { return slices.Contains(like, ch) })
		}
	}
}

// alike says that two channels go into one picture.
func (r *run) alike(a, b string) bool {
	x, y := r.of(a), r.of(b)
	if !x.seen() || !y.seen() {
		return true
	}
	wide := func(t *track) float64 { return math.Abs(t.peak.value) + 1 }
	return wide(x) < 20*wide(y) && wide(y) < 20*wide(x)
}

// overKg is a channel against the charcoal burnt while the engine turned.
func (r *run) overKg(channel, title string) *chart {
	t := r.of(channel)
	if !t.seen() || !r.of(fuel.BurntChannel).seen() {
		return nil
	}
	kg, m := r.measure(sensors.Mass), r.measure(t.Quantity)
	cv := curve{name: plain(channel)}
	on := r.turns()
	last, lastX := -1, math.NaN()
	for i := range t.main.bins {
		b, x := &t.main.bins[i], kg.shown(r.burntAt(i))
		if !on[i] || b.n == 0 || math.IsNaN(x) {
			continue
		}
		lo, hi := m.shown(b.lo), m.shown(b.hi)
		c := column{x, min(lo, hi), max(lo, hi), m.shown(b.mean()), b.cut || last != i-1 || x < lastX}
		cv.cols = append(cv.cols, c)
		last, lastX = i, x
	}
	if len(cv.cols) < 10 {
		return nil
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, c := range cv.cols {
		lo, hi = min(lo, c.x), max(hi, c.x)
	}
	if hi-lo < 0.02 {
		return nil
	}
	c := &chart{title: title, unit: m.name, x: numbers(lo, hi, 6, true), curves: []curve{cv}, note: "While the engine turned."}
	c.x.title = "charcoal burnt, " + kg.name
	return c
}

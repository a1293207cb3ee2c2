package report

import (
	"fmt"
	"math"
	"strings"

	"charwarden/cmd/internal/runlog"
	"charwarden/sensors"
	"charwarden/sensors/derive/fuel"
)

// summary is the run in plain sentences.
func (r *run) summary(f *figures) []string {
	all := []string{r.when(f)}
	if s := r.clockDoubt(); s != "" {
		all = append(all, s)
	}
	for _, s := range []string{r.burning(f), r.heat(), r.raised(), r.gasInAir(), r.blind()} {
		if s != "" {
			all = append(all, s)
		}
	}
	return all
}

func (r *run) when(f *figures) string {
	rig := ""
	if r.meta.Rig != "" {
		rig = " of the rig " + r.meta.Rig
	}
	what := upper(r.name()) + rig
	if r.meta.Run == nil {
		what = "This file" + rig + " holds no run: it is what was logged while nothing burnt"
	}
	s := what
	if r.told() {
		a, b := r.wall(r.from), r.wall(r.to)
		s += " began on " + a.Format("Monday 2 January 2006 at 15:04")
		end := b.Format("15:04")
		if a.YearDay() != b.YearDay() {
			end = b.Format("Monday 15:04")
		}
		s += " and is shown until " + end + ", " + span(r.to-r.from) + "."
	} else {
		s += " lasted " + span(r.to-r.from) + "; nobody knows on what day."
	}
	if f.engine.known() && f.engine.value > 0 {
		s += " The engine ran for " + span(int64(f.engine.value*3.6e6)) + " of it."
	} else if f.engine.known() && r.meta.Run != nil {
		s += " The engine did not run."
	}
	if r.end > r.to {
		s += " It was watched for " + span(r.end-r.to) + " more while it cooled."
	}
	if m := r.meta.Run; m != nil && m.To == 0 {
		s += " The end of the run is not in the log: it still goes on, or the power was cut."
	}
	return s
}

// clockDoubt says how far the times may be trusted; "" if they may.
func (r *run) clockDoubt() string {
	switch r.clock.Quality() {
	case runlog.Synced:
		return ""
	case runlog.Free:
		return "The board's clock was not synchronised: times of day and the date may be wrong. Lengths of time are right."
	}
	return "The board's clock was never set: there are no times of day, only times since the start. Lengths of time are right."
}

func (r *run) burning(f *figures) string {
	if !f.burnt.known() {
		return "How much charcoal it burnt is not known: " + f.burnt.note + "."
	}
	s := "It burnt " + f.burnt.about("charcoal") + "."
	if f.rate.known() {
		s += " While the engine ran that was " + f.rate.about("") + "."
	}
	if f.weighed.known() {
		s += " By the notebook it was " + f.weighed.m.text(f.weighed.value) + "."
	}
	if t := r.of(fuel.LeftChannel); t.seen() {
		half, _ := t.half(t.last.ms)
		m, kg := r.measure(sensors.Mass), max(0, t.last.value)
		switch left := m.about(kg, half); {
		case half > max(kg, 1):
			s += " How much was left in the hopper is not known to within all of it."
		case half > 0:
			s += " At the end there was about " + left + ", in the hopper."
		default:
			s += " At the end there was about " + left + " in the hopper."
		}
	}
	return s
}

// lowest level of a channel's rules of a priority; NaN if there is none.
func (r *run) level(channel, priority string) float64 {
	v := math.NaN()
	for _, l := range r.rig.Limits {
		if l.Channel == channel && l.Priority == priority && l.Kind == "above" && !(l.Limit >= v) {
			v = l.Limit
		}
	}
	return v
}

func (r *run) heat() string {
	var best *track
	names := r.fitted(r.rig.Walls...)
	what := "The hottest wall was " + "%s"
	if len(names) == 1 {
		what = "The wall, %s, was hottest"
	}
	if len(names) == 0 {
		names, what = r.byQuantity(sensors.Temperature), "The hottest place was %s"
	}
	for _, n := range names {
		if t := r.of(n); t.seen() && (best == nil || t.peak.value > best.peak.value) {
			best = t
		}
	}
	if best == nil {
		if len(r.rig.Walls) > 0 {
			return "No wall of the hearth gave a good reading."
		}
		return ""
	}
	m := r.measure(sensors.Temperature)
	half, _ := best.half(best.peak.ms)
	s := fmt.Sprintf(what, plain(best.Name)) + ", at most " + m.about(best.peak.value, half) + r.at(best.peak.ms)
	if l := r.level(best.Name, "alarm"); !math.IsNaN(l) {
		s += "; its alarm is at " + m.text(l)
	}
	if lost := best.fullTime(); lost > 0 {
		s += ". It was off its scale or in fault for " + span(lost) + ", and may have been hotter then"
	}
	return s + "."
}

// at is ", at 15:04", or the time since the start of an unset clock.
func (r *run) at(ms int64) string {
	if !r.told() {
		return ", " + span(ms-r.from) + " after the start"
	}
	return ", at " + r.hm(ms)
}

// fullTime is how long a channel had a fault.
func (t *track) fullTime() (ms int64) {
	for _, s := range t.spells {
		ms += s.to - s.from
	}
	return ms
}

func (r *run) raised() string {
	counts := map[string]int{}
	test, first := 0, -1
	for i, e := range r.episodes {
		if e.test {
			test++
			continue
		}
		counts[e.priority]++
		if first < 0 && e.firstOut && e.priority != "notice" {
			first = i
		}
	}
	var parts []string
	for i, one := range []string{"call", "alarm", "caution", "notice"} {
		if n := counts[ranks[i]]; n > 0 {
			parts = append(parts, count(n, one))
			if i == 0 {
				parts[0] += " to evacuate"
			}
		}
	}
	s := "Nothing alarmed."
	if parts != nil {
		s = "It raised " + listed(parts) + "."
	}
	if first >= 0 {
		e := &r.episodes[first]
		s += " The first to come was " + plain(e.alarm) + r.at(e.from)
		if v := r.figure(e, e.value); v != "" {
			s += " (" + v + ")"
		}
		s += "."
	}
	if n := r.firstOuts(); n > 1 {
		s += fmt.Sprintf(" %d times one came when no other stood: they are marked first out below.", n)
	}
	if test > 0 {
		s += fmt.Sprintf(" %d more came from test gas.", test)
	}
	return s
}

func (r *run) firstOuts() (n int) {
	for _, e := range r.episodes {
		if e.firstOut && !e.test && e.priority != "notice" {
			n++
		}
	}
	return n
}

// gasInAir is the carbon monoxide and what a person took in.
func (r *run) gasInAir() string {
	all := r.carbonMonoxide()
	if len(all) == 0 {
		return "Carbon monoxide is not measured at this rig: this report says nothing about it."
	}
	var s []string
	for _, co := range all {
		t := r.of(co)
		e, atLeast := t.worst()
		if math.IsNaN(e.value) {
			s = append(s, "Carbon monoxide at "+plain(co)+" gave no good reading: what was in the air is not known.")
			continue
		}
		m := r.measure(sensors.CO)
		half, _ := t.half(e.ms)
		word := "at worst " + m.about(max(0, e.value), half)
		if atLeast {
			word = "at least " + m.text(e.value) + ", the end of what the cell can show"
		}
		one := "Carbon monoxide at " + plain(co) + " was " + word + r.at(e.ms) + "."
		if len(all) == 1 {
			one = "Carbon monoxide in the air was " + word + r.at(e.ms) + "."
		}
		if d, least := r.of(co + "_twa_8h").worst(); !math.IsNaN(d.value) {
			one += " Averaged over 8 hours it reached " + leastWord(least) + m.text(max(0, d.value))
			if l := r.level(co+"_twa_8h", "caution"); !math.IsNaN(l) {
				one += " (limit " + m.text(l) + ")"
			}
			if b, least := r.of(co + "_cohb").worst(); !math.IsNaN(b.value) {
				one += "; the estimate for the blood of somebody who stood there reached " + leastWord(least) + r.measure(sensors.COHb).text(b.value) + " COHb"
			}
			one += "."
		}
		if t.tests != nil {
			one += " Test gas is left out of this."
		}
		if lost := t.fullTime(); lost >= 1000 {
			one += " For " + span(lost) + " the cell gave no good reading."
		}
		s = append(s, one)
	}
	return strings.Join(s, " ")
}

func leastWord(least bool) string {
	if least {
		return "at least "
	}
	return ""
}

// blind says what is missing from the log.
func (r *run) blind() string {
	var parts []string
	var lost int64
	for _, h := range r.holes {
		lost += h.to - h.from
	}
	if lost > 0 {
		parts = append(parts, "nothing was written for "+span(lost)+" in all")
	}
	n := 0
	for _, t := range r.sensors() {
		if len(t.spells) > 0 {
			n++
		}
	}
	if n > 0 {
		parts = append(parts, count(n, "channel")+" had a fault at some time")
	}
	if parts == nil {
		return ""
	}
	return "Mind the gaps: " + listed(parts) + "; see the health of the instrument below."
}

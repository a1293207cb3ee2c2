package report

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"charwarden/cmd/internal/runlog"
	"charwarden/sensors/derive/cooldown"
	"charwarden/sensors/derive/filter"
	"charwarden/sensors/derive/fuel"
)

// before is what to look at before the next fire.
func (r *run) before(f *figures) (all []string) {
	say := func(s string) {
		if !slices.Contains(all, s) {
			all = append(all, s)
		}
	}
	var standing, unseen, latched []*episode
	var gas []string
	for i := range r.episodes {
		e := &r.episodes[i]
		if e.test || e.priority == "notice" {
			continue
		}
		if slices.Contains(r.carbonMonoxide(), e.channel) && rankOf(e.priority) <= 1 && !math.IsNaN(e.limit) {
			if at := r.clockOrSince(e.from); !slices.Contains(gas, at) {
				gas = append(gas, at)
			}
		}
		switch {
		case !e.open || math.IsNaN(e.limit) && rankOf(e.priority) > 1: // a lesser fault that went by itself stands below
		case e.to == 0:
			standing = append(standing, e)
		case e.state == "latched_acknowledged":
			latched = append(latched, e)
		default:
			unseen = append(unseen, e)
		}
	}
	for _, co := range r.carbonMonoxide() {
		if b, _ := r.of(co + "_cohb").worst(); b.value >= 5 {
			say("Whoever stood at the rig and has a headache, or feels dizzy or sick: see a doctor today, and say that it may be carbon monoxide.")
		}
	}
	if gas != nil {
		say("Find out where the carbon monoxide of " + listed(gas) + " came from, and close it, before you light again.")
	}
	for _, part := range []struct {
		word string
		all  []*episode
	}{{"Still there at the end of the log: ", standing}, {"Latched, to be reset: ", latched}, {"Not acknowledged by anybody: ", unseen}} {
		if part.all != nil {
			say(part.word + named(part.all) + ".")
		}
	}
	for _, w := range r.fitted(r.rig.Walls...) {
		t, l := r.of(w), r.level(w, "alarm")
		if t.seen() && t.peak.value >= l {
			say("Look at the wall at " + plain(w) + ": it was past its alarm. Is the steel thin, bulged or scaling? Open the return further next time, or take less load.")
		}
	}
	if t := r.of(filter.Channel); t.seen() {
		switch v := t.last.value; {
		case v >= 100:
			say("Clean the filter: it is due.")
		case v >= 70:
			say(fmt.Sprintf("The filter holds %.0f %% of what it may: clean it soon.", v))
		}
	}
	if t := r.of(cooldown.HealthChannel); t.seen() && t.last.value < 0.8 {
		say("It cooled faster than it used to when shut: look for air at lid, nozzle cap, return and doors.")
	}
	var ill []string
	for _, t := range r.sensors() {
		if !t.seen() {
			say("See to " + plain(t.Name) + ": it gave no good reading at all" + because(t) + ".")
		} else if lost := t.fullTime(); lost >= 5_000 {
			ill = append(ill, plain(t.Name)+" "+span(lost)+because(t))
		}
	}
	if ill != nil {
		say("See to the wires and sensors of what was in fault: " + listed(ill) + ".")
	}
	for _, co := range r.carbonMonoxide() {
		if t := r.of(co + "_bump_age"); t != nil && (!t.seen() || t.low.value > 86400) {
			say("Test " + plain(co) + " with gas: it was not tested within a day of this run. A dead cell shows 0.")
		}
	}
	if t := r.of(fuel.LeftChannel); t.seen() && t.last.value < 1 {
		say("Fill the hopper: hardly anything is left.")
	}
	if r.clock.Quality() != runlog.Synced {
		say("Set the board's clock, so that the next run has its right times.")
	}
	if len(r.carbonMonoxide()) == 0 {
		say("Carry a certified carbon monoxide alarm: this rig measures none.")
	}
	always := "As always: zero and test the carbon monoxide cell, try the horn, and ask a second person to be near."
	if len(r.carbonMonoxide()) == 0 {
		always = "As always: try the horn, and ask a second person to be near."
	}
	say(always)
	return all
}

// named are alarms with the numbers of their episodes: "co fault (3, 7)".
func named(all []*episode) string {
	var names []string
	numbers := map[string][]string{}
	for _, e := range all {
		if numbers[e.alarm] == nil {
			names = append(names, e.alarm)
		}
		numbers[e.alarm] = append(numbers[e.alarm], fmt.Sprint(e.number))
	}
	for i, n := range names {
		names[i] = plain(n) + " (" + strings.Join(numbers[n], ", ") + ")"
		if len(numbers[n]) > 3 {
			names[i] = plain(n) + " (" + count(len(numbers[n]), "time") + ")"
		}
	}
	return listed(names)
}

// because lists the kinds of a channel's faults.
func because(t *track) string {
	var kinds []string
	for _, s := range t.spells {
		if k := plain(s.status.String()); !slices.Contains(kinds, k) {
			kinds = append(kinds, k)
		}
	}
	if kinds == nil {
		return ""
	}
	return " (" + strings.Join(kinds, ", ") + ")"
}

func (r *run) clockOrSince(ms int64) string {
	if !r.told() {
		return span(ms-r.from) + " after the start"
	}
	return r.hm(ms)
}

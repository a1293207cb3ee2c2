package report

import (
	"fmt"
	"slices"
	"strings"

	"charwarden/cmd/internal/runlog"
	"charwarden/sensors"
	"charwarden/sensors/derive/flow"
)

// health is what the instrument itself was worth during the run.
func (p *page) health(r *run) {
	p.raw("<h2>Health of the instrument</h2>\n")
	var all []string
	all = append(all, r.recorded()...)
	all = append(all, r.clockWords())
	if u := r.unmeasured(); u != "" {
		all = append(all, u)
	}
	p.list("health", all)
	if rows := r.faultRows(); rows != nil {
		p.table("faults", []string{"Channel", "Fault", "How long", "First", "How often"}, rows)
	}
	var rows [][]string
	for _, t := range r.sensors() {
		if t.Place != "" || t.Care != "" {
			rows = append(rows, []string{plain(t.Name), t.Place, t.Care})
		}
	}
	if rows != nil {
		p.raw("<h3>Sensors and their care</h3>\n")
		p.table("care", []string{"Channel", "Where", "Zero, span, calibration"}, rows)
	}
}

// recorded is what is missing from the log itself.
func (r *run) recorded() (all []string) {
	sums := map[string]int64{}
	var order []string
	for _, g := range r.gaps {
		if g.Ms < r.from || g.Ms > r.end {
			continue
		}
		if _, known := sums[g.What]; !known {
			order = append(order, g.What)
		}
		sums[g.What] += g.N
	}
	slices.Sort(order)
	for _, what := range order {
		all = append(all, fmt.Sprintf("%s: %d.", upper(what), sums[what]))
	}
	for i, h := range r.holes {
		if i == 5 {
			all = append(all, fmt.Sprintf("And %s without a record.", count(len(r.holes)-5, "more gap")))
			break
		}
		all = append(all, "Nothing was written from "+r.stamp(h.from)+" for "+span(h.to-h.from)+".")
	}
	if all == nil {
		all = append(all, "No tick was missed and no row is missing.")
	}
	if r.meta.Torn {
		all = append(all, "The file begins in the middle of the run: there was a fault with the one before.")
	}
	if r.meta.Part > 1 {
		all = append(all, fmt.Sprintf("This is part %d of what the daemon logged since it was started.", r.meta.Part))
	}
	if r.meta.Why != "" {
		all = append(all, "The file cannot be read in whole: "+r.meta.Why+".")
	}
	return all
}

func (r *run) clockWords() string {
	switch r.clock.Quality() {
	case runlog.Synced:
		return "Clock: synchronised."
	case runlog.Free:
		return "Clock: set at some time, but not synchronised. Times of day may be wrong, lengths of time are right."
	}
	return "Clock: never set. Times are counted from the start; lengths of time are right."
}

// unmeasured says what this report cannot know.
func (r *run) unmeasured() string {
	var all []string
	for _, part := range []struct {
		what     string
		channels []string
	}{
		{"carbon monoxide", r.carbonMonoxide()}, {"walls of the hearth", r.rig.Walls}, {"gas out of the hearth", []string{r.rig.GasOut}},
		{"gas before the filter", []string{r.rig.FilterIn}}, {"exhaust return", []string{r.rig.Return}}, {"suction", []string{r.rig.Suction}},
		{"drop of the filter", []string{r.rig.FilterDrop}}, {"speed", []string{r.rig.Speed}}, {"gas flow", []string{flow.Channel}},
	} {
		if !slices.ContainsFunc(part.channels, func(c string) bool { return r.of(c).seen() }) {
			all = append(all, part.what)
		}
	}
	if all == nil {
		return ""
	}
	return "Not known in this run, neither measured nor reckoned: " + listed(all) + "."
}

// faultRows are the faults by channel and kind.
func (r *run) faultRows() (rows [][]string) {
	for _, t := range r.sensors() {
		type sum struct {
			status sensors.Status
			long   int64
			first  int64
			n      int
		}
		var kinds []sum
		for _, s := range t.spells {
			i := slices.IndexFunc(kinds, func(k sum) bool { return k.status == s.status })
			if i < 0 {
				i = len(kinds)
				kinds = append(kinds, sum{status: s.status, first: s.from})
			}
			kinds[i].long += s.to - s.from
			kinds[i].n++
		}
		for _, k := range kinds {
			rows = append(rows, []string{plain(t.Name), plain(k.status.String()), span(k.long), r.stamp(k.first), strings.Replace(count(k.n, "time"), "1 times", "once", 1)})
		}
		if !t.seen() && kinds == nil {
			rows = append(rows, []string{plain(t.Name), "no reading at all", span(r.end - r.from), "", ""})
		}
	}
	return rows
}

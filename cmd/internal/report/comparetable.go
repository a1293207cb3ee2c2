package report

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"charwarden/sensors"
)

// runTable has a column a run.
func (p *page) runTable(runs []*run, all []figures) {
	p.raw(`<div class="scroll"><table class="compare"><thead><tr><th></th>`)
	for _, r := range runs {
		p.raw("<th>").text(upper(r.name())).raw("</th>")
	}
	p.raw("</tr></thead><tbody>\n")
	row := func(name string, of func(i int) string) {
		p.raw("<tr><td>").text(name).raw("</td>")
		any := false
		cells := make([]string, len(runs))
		for i := range runs {
			cells[i] = of(i)
			any = any || cells[i] != ""
		}
		for _, c := range cells {
			p.raw("<td>").text(c).raw("</td>")
		}
		p.raw("</tr>\n")
	}
	row("Began", func(i int) string {
		if !runs[i].told() {
			return "not known"
		}
		return runs[i].wall(runs[i].from).Format("2 Jan 2006 15:04")
	})
	row("Batch", func(i int) string { return dash(all[i].batch) })
	row("Return noted", func(i int) string { return dash(all[i].returnNoted) })
	row("Nozzle noted", func(i int) string { return dash(all[i].nozzle) })
	row("Load noted", func(i int) string { return dash(all[i].loadNote) })
	get := func(name string, of func(*figures) figure) {
		row(name, func(i int) string { return of(&all[i]).text() })
	}
	get("Charcoal burnt", func(f *figures) figure { return f.burnt })
	get("Engine ran", func(f *figures) figure { return f.engine })
	get("Mean gas flow", func(f *figures) figure { return f.gas })
	for _, c := range comparisons {
		get(c.name, c.of)
	}
	row("Worst carbon monoxide", func(i int) string {
		r := runs[i]
		worst, least := extreme{math.NaN(), 0}, false
		for _, co := range r.carbonMonoxide() {
			if e, l := r.of(co).worst(); !(e.value <= worst.value) {
				worst, least = e, l
			}
		}
		if math.IsNaN(worst.value) {
			return "not known"
		}
		return leastWord(least) + r.measure(sensors.CO).text(max(0, worst.value))
	})
	row("Alarms", func(i int) string {
		n := 0
		for _, e := range runs[i].episodes {
			if !e.test && e.priority != "notice" {
				n++
			}
		}
		return fmt.Sprint(n)
	})
	p.raw("</tbody></table></div>\n")
}

func dash(s string) string {
	if s == "" {
		return "–"
	}
	return s
}

// whiskers show a figure of all runs with its half width: bars that do not
// touch are different.
func (p *page) whiskers(runs []*run, all []figures, name string, of func(*figures) figure) {
	lo, hi, n := math.Inf(1), math.Inf(-1), 0
	var m measure
	for i := range all {
		if f := of(&all[i]); f.known() {
			lo, hi, n, m = min(lo, f.m.shown(f.value-f.half)), max(hi, f.m.shown(f.value+f.half)), n+1, f.m
		}
	}
	if n < 2 {
		return
	}
	a := numbers(lo, hi, 4, false)
	p.raw(`<figure class="plot whisk"><figcaption><b>`).text(name).raw("</b>")
	if m.name != "" {
		p.raw(` <span class="unit">in `).text(m.name).raw("</span>")
	}
	high := 24 * len(runs)
	p.rawf(`</figcaption><div class="field" style="height:%dpx"><svg viewBox="0 0 1000 %d" preserveAspectRatio="none" aria-hidden="true">`, high, high)
	for _, t := range a.ticks {
		p.rawf(`<path class="grid" d="M%s 0V%d"/>`, short(1000*a.share(t.at)), high)
	}
	for i := range all {
		f := of(&all[i])
		if !f.known() {
			continue
		}
		x := func(v float64) string { return short(1000 * a.share(f.m.shown(v))) }
		y := 24*i + 12
		if f.half > 0 {
			p.rawf(`<path class="whisker" d="M%s %dH%sM%[1]s %[4]dV%[5]dM%[3]s %[4]dV%[5]d"/>`, x(f.value-f.half), y, x(f.value+f.half), y-5, y+5)
		}
		p.rawf(`<path class="point" d="M%s %dh0"/>`, x(f.value), y)
	}
	p.raw("</svg>")
	for i, r := range runs {
		p.rawf(`<i class="yt" style="top:%dpx">`, 24*i+12).text(upper(strings.TrimPrefix(r.name(), "run "))).raw("</i>")
		if f := of(&all[i]); !f.known() {
			p.rawf(`<i class="gone" style="top:%dpx">not known: `, 24*i+5).text(f.note).raw("</i>")
		}
	}
	for _, t := range a.ticks {
		p.rawf(`<i class="xl" style="left:%.2f%%">%s</i>`, 100*a.share(t.at), t.text)
	}
	p.raw("</div></figure>\n")
}

// returns compare the walls by the noted setting of the exhaust return, at equal
// load.
func (p *page) returns(runs []*run, usual float64) {
	if !(usual > 0) {
		return
	}
	type at struct {
		setting float64
		f       figure
		run     *run
	}
	var all []at
	for _, r := range runs {
		on := r.turns()
		for i, n := range r.notes {
			if n.Kind != "return" || n.Value == nil {
				continue
			}
			until := r.to
			for _, m := range r.notes[i+1:] {
				if m.Kind == "return" {
					until = m.Ms
					break
				}
			}
			part := slices.Clone(on)
			for j := range part {
				ms := r.from + int64(j)*newFold(r.from, r.to, mainBins).step
				part[j] = part[j] && ms >= n.Ms && ms < until
			}
			var walls []figure
			for _, w := range r.fitted(r.rig.Walls...) {
				walls = append(walls, r.wallAt(r.of(w), usual, part))
			}
			if f := hottest(walls); f.known() {
				all = append(all, at{*n.Value, f, r})
			}
		}
	}
	if len(all) < 2 {
		return
	}
	slices.SortStableFunc(all, func(a, b at) int { return cmp.Compare(a.setting, b.setting) })
	p.raw("<h3>Return setting against the hottest wall, at equal load</h3>\n")
	var rows [][]string
	for _, a := range all {
		rows = append(rows, []string{fixed(a.setting, digitsOf(a.setting)) + " %", upper(a.run.name()), plain(strings.TrimPrefix(a.f.name, "Peak of ")), a.f.text()})
	}
	p.table("returns", []string{"Return", "Run", "Wall", "Peak"}, rows)
	first, last := all[0], all[len(all)-1]
	switch {
	case first.setting == last.setting:
		p.para("", "All at one setting: what the return does to the wall these runs do not tell.")
	case differs(first.f, last.f):
		word := "cooler"
		if last.f.value > first.f.value {
			word = "hotter"
		}
		p.para("", fmt.Sprintf("At the larger setting the hottest wall was %s by %s.", word,
			first.f.m.apart().about(math.Abs(first.f.value-last.f.value), math.Hypot(first.f.half, last.f.half))))
	default:
		p.para("", none)
	}
}

package report

import (
	"fmt"
	"math"
	"strings"
)

// differs says whether two figures differ by more than both are uncertain by
// together. What is only a lower bound differs from nothing.
func differs(a, b figure) bool {
	return !a.atLeast && !b.atLeast && math.Abs(a.value-b.value) > math.Hypot(a.half, b.half)
}

// none is said of what does not differ by more.
const none = "No difference that these runs can show."

// compare is what the trade compares between runs.
func (p *page) compare(runs []*run) {
	p.raw("<section id=\"compare\"><h2>Comparison</h2>\n")
	all, usual := compared(runs)
	p.list("verdicts", verdicts(runs, all))
	p.runTable(runs, all)
	if !math.IsNaN(usual) {
		p.para("note", "Walls and filter are compared at equal load, "+all[0].loadName+": only readings within 8 % of it count for the walls, and the drop is brought to it in proportion.")
	}
	p.para("note", "Two figures are called different only where they are further apart than their half widths together (root of the sum of squares). A figure without a half width cannot be told apart.")
	p.raw("<div class=\"plots\">\n")
	for _, part := range comparisons {
		p.whiskers(runs, all, part.name, part.of)
	}
	for _, c := range overlays(runs, usual) {
		p.draw(c)
	}
	p.raw("</div>\n")
	p.returns(runs, usual)
	p.raw("</section>\n")
}

// compared are the figures of the runs at the load that they share; NaN if they
// share none, and then nothing is compared that depends on it.
func compared(runs []*run) (all []figures, usual float64) {
	usual = commonLoad(runs)
	for _, r := range runs {
		f := r.figuresOf(usual)
		if math.IsNaN(usual) {
			const why = "the runs have no load in common"
			f.cleanDrop, f.slope, f.walls = missing(f.cleanDrop.name, why), missing(f.slope.name, why), nil
		}
		all = append(all, f)
	}
	return all, usual
}

// comparisons are the figures that are compared.
var comparisons = []struct {
	name string
	of   func(*figures) figure
	word string // of more of it
}{
	{"Charcoal an hour", func(f *figures) figure { return f.rate }, "burnt more charcoal an hour"},
	{"Charcoal a kWh at the shaft", func(f *figures) figure { return f.perKWh }, "burnt more charcoal for the same work"},
	{"Charcoal a kWh of noted load", func(f *figures) figure { return f.perNoted }, "burnt more charcoal for the noted work"},
	{"Wall at equal load", func(f *figures) figure { return hottest(f.walls) }, "had the hotter wall at equal load"},
	{"Drop of the clean filter", func(f *figures) figure { return f.cleanDrop }, "began with more drop across the filter"},
	{"Drop a kilogram", func(f *figures) figure { return f.slope }, "loaded the filter faster"},
	{"Lighting to engine", func(f *figures) figure { return f.start }, "took longer to the engine"},
	{"Cool-down constant", func(f *figures) figure { return f.tau }, "cooled more slowly when shut, so was tighter"},
}

// hottest of the walls; the one that is there, if only one is.
func hottest(walls []figure) figure {
	f := missing("Wall at equal load", "no wall was long enough at that load")
	for _, w := range walls {
		if w.known() && !(w.value <= f.value) {
			f = w
		}
	}
	return f
}

// commonName is the channel of the load that the runs share; "" if they do not.
func commonName(runs []*run) string {
	name := ""
	for i, r := range runs {
		l := r.load()
		if l == nil || i > 0 && l.Name != name {
			return ""
		}
		name = l.Name
	}
	return name
}

// commonLoad is the load that all runs had for long: the one which the run that
// had it least had most. It is NaN if there is none that each had for as long as
// a wall's peak takes.
func commonLoad(runs []*run) float64 {
	if commonName(runs) == "" {
		return math.NaN()
	}
	best, longest := math.NaN(), int64(chunk)
	const steps = 25
	for i := range len(runs) * (2*steps + 1) {
		usual := runs[i/(2*steps+1)].usualLoad() * (1 + float64(i%(2*steps+1)-steps)/steps/1.25)
		if !(usual > 0) {
			continue
		}
		least := int64(math.MaxInt64)
		for _, r := range runs {
			least = min(least, r.hadLoad(usual))
		}
		if least > longest {
			best, longest = usual, least
		}
	}
	return best
}

// hadLoad is for how long a run had a load.
func (r *run) hadLoad(usual float64) (ms int64) {
	t := r.load()
	for i, on := range r.turns() {
		if b := &t.main.bins[i]; on && b.n > 0 && math.Abs(r.share(b.mean(), usual)-1) <= near {
			ms += t.main.step
		}
	}
	return ms
}

// verdicts say in sentences what differs: each run against the first, and batch
// against batch.
func verdicts(runs []*run, all []figures) (said []string) {
	var alike []string
	compared := false
	for _, c := range comparisons {
		a := c.of(&all[0])
		any, known := false, false
		for i := 1; i < len(runs); i++ {
			b := c.of(&all[i])
			if !a.known() || !b.known() || !(a.half > 0) || !(b.half > 0) || a.atLeast || b.atLeast {
				continue
			}
			known, compared = true, true
			if !differs(a, b) {
				continue
			}
			any = true
			more, other, by := runs[0], runs[i], a.value-b.value
			if by < 0 {
				more, other, by = other, more, -by
			}
			said = append(said, fmt.Sprintf("%s %s than %s: by %s.", upper(more.name()), c.word, other.name(), a.m.apart().about(by, math.Hypot(a.half, b.half))))
		}
		if known && !any {
			alike = append(alike, strings.ToLower(c.name[:1])+c.name[1:])
		}
	}
	said = append(said, batches(runs, all)...)
	if alike != nil {
		said = append(said, upper(listed(alike))+": "+strings.ToLower(none[:1])+none[1:])
	}
	if !compared {
		said = append(said, "These runs have too little in common, or too little is known of them, to be compared.")
	}
	return said
}

// batches compare the charcoal by its batch, where the runs had different ones.
func batches(runs []*run, all []figures) (said []string) {
	by := map[string][]int{}
	var order []string
	for i := range runs {
		b := all[i].batch
		if b == "" {
			continue
		}
		if by[b] == nil {
			order = append(order, b)
		}
		by[b] = append(by[b], i)
	}
	if len(order) < 2 {
		if len(order) == 1 && len(by[order[0]]) == len(runs) {
			return []string{"All runs burnt the same batch: " + order[0] + "."}
		}
		return nil
	}
	if len(order) == len(runs) {
		var each []string
		for i, r := range runs {
			each = append(each, r.name()+" "+all[i].batch)
		}
		return []string{"Each run burnt a batch of its own (" + strings.Join(each, "; ") + "): what differs between the runs may come from that, or from something else."}
	}
	for _, c := range comparisons[:6] {
		for i, a := range order {
			for _, b := range order[i+1:] {
				x, y := meanOf(all, by[a], c.of), meanOf(all, by[b], c.of)
				if !x.known() || !y.known() || !(x.half > 0) || !(y.half > 0) || !differs(x, y) {
					continue
				}
				if x.value < y.value {
					x, y, a, b = y, x, b, a
				}
				said = append(said, fmt.Sprintf("Batch “%s” %s than batch “%s”: %s against %s. The batch need not be the cause.", a, c.word, b, x.text(), y.text()))
			}
		}
	}
	if said == nil {
		said = []string{"Batch against batch (" + listed(order) + "): " + strings.ToLower(none[:1]) + none[1:]}
	}
	return said
}

// meanOf a figure over some runs. What the runs have in common, as the sensor,
// does not become less by more of them: the half widths are averaged.
func meanOf(all []figures, which []int, of func(*figures) figure) figure {
	f := missing("", "")
	sum, half, n := 0., 0., 0.
	for _, i := range which {
		if g := of(&all[i]); g.known() {
			f.m, f.name = g.m, g.name
			sum, half, n = sum+g.value, half+g.half, n+1
		}
	}
	if n == 0 {
		return f
	}
	f.value, f.half = sum/n, half/n
	spread := 0.
	for _, i := range which {
		if g := of(&all[i]); g.known() && n > 1 {
			spread += (g.value - f.value) * (g.value - f.value) / (n - 1) / n
		}
	}
	f.half = math.Hypot(f.half, 2*math.Sqrt(spread))
	return f
}

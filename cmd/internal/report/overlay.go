package report

import (
	"math"

	"charwarden/sensors"
	"charwarden/sensors/derive/flow"
)

// overlays are pictures with a curve a run; more runs than there are styles have
// none.
func overlays(runs []*run, usual float64) (all []*chart) {
	if len(runs) > styles || !(usual > 0) {
		return nil
	}
	first := runs[0]
	load := first.measure(first.load().Quantity)
	x := "suction, " + load.name
	if first.load().Name == flow.Channel {
		x = "gas flow, " + load.name
	}
	for _, w := range first.fitted(first.rig.Walls...) {
		c := &chart{title: upper(plain(w)) + " against the load", unit: first.measure(sensors.Temperature).name,
			note: "While the rig ran hot: mean and spread at each load."}
		for i, r := range runs {
			if t := r.of(w); t.seen() {
				c.overlay(r, i, r.against(usual/20, func(i int) (x, y float64) {
					b, l := &t.main.bins[i], &r.load().main.bins[i]
					if b.n == 0 || l.n == 0 || !r.hot(t.main.middle(i)) {
						return math.NaN(), 0
					}
					return l.mean(), b.mean()
				}), load, r.measure(sensors.Temperature))
			}
		}
		all = c.kept(all, x)
	}
	kg := first.measure(sensors.Mass)
	c := &chart{title: "Pressure drop of the filter at equal load", unit: first.measure(sensors.Pressure).name,
		note: "Against charcoal burnt, brought to the load of the comparison in proportion to the flow."}
	for i, r := range runs {
		t := r.of(r.rig.FilterDrop)
		if !t.seen() {
			continue
		}
		since := r.cleanedAt()
		c.overlay(r, i, r.against(0.1, func(i int) (x, y float64) {
			b, l := &t.main.bins[i], &r.load().main.bins[i]
			if b.n == 0 || l.n == 0 || t.main.middle(i) < since {
				return math.NaN(), 0
			}
			share := r.share(l.mean(), usual)
			if share < 0.5 {
				return math.NaN(), 0
			}
			return r.burntAt(i), b.mean() / share
		}), kg, r.measure(sensors.Pressure))
	}
	return c.kept(all, "charcoal burnt, "+kg.name)
}

// hot says that the rig was at its heat: in phase running, where phases are known.
func (r *run) hot(ms int64) bool {
	for _, p := range r.phases {
		if ms >= p.from && ms < p.to {
			return p.name == "running"
		}
	}
	return len(r.phases) == 0
}

// against gathers y over x in steps of x, from the columns in which the engine
// turned; NaN leaves a column out.
func (r *run) against(step float64, of func(column int) (x, y float64)) (cols []column) {
	sums := map[int]*column{}
	counts := map[int]float64{}
	least, most := math.MaxInt, math.MinInt
	for i, on := range r.turns() {
		if !on {
			continue
		}
		x, y := of(i)
		if math.IsNaN(x) || math.IsNaN(y) {
			continue
		}
		k := int(math.Floor(x / step))
		c := sums[k]
		if c == nil {
			c = &column{lo: y, hi: y}
			sums[k] = c
		}
		c.x, c.mid, c.lo, c.hi = c.x+x, c.mid+y, min(c.lo, y), max(c.hi, y)
		counts[k]++
		least, most = min(least, k), max(most, k)
	}
	joined := false
	for k := least; k <= most; k++ {
		c := sums[k]
		if c == nil || counts[k] < 3 { // a passing moment
			joined = false
			continue
		}
		c.x, c.mid, c.cut = c.x/counts[k], c.mid/counts[k], !joined
		cols, joined = append(cols, *c), true
	}
	return cols
}

// overlay adds a run's curve, in the reader's units.
func (c *chart) overlay(r *run, style int, cols []column, x, y measure) {
	if len(cols) == 0 {
		return
	}
	for i := range cols {
		k := &cols[i]
		k.x, k.mid, k.lo, k.hi = x.shown(k.x), y.shown(k.mid), y.shown(k.lo), y.shown(k.hi)
	}
	c.curves = append(c.curves, curve{name: r.name(), style: style, cols: cols})
}

// kept adds the picture to all, if it has two curves.
func (c *chart) kept(all []*chart, x string) []*chart {
	if len(c.curves) < 2 {
		return all
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, cv := range c.curves {
		lo, hi = min(lo, cv.cols[0].x), max(hi, cv.cols[len(cv.cols)-1].x)
	}
	c.x = numbers(lo, hi, 6, true)
	c.x.title = x
	return append(all, c.scaled(false))
}

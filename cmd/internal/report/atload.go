package report

import (
	"math"

	"charwarden/sensors"
	"charwarden/sensors/derive/filter"
	"charwarden/sensors/derive/flow"
	"charwarden/sensors/derive/fuel"
)

// near is how far from the load a column may be to be taken at that load: a
// share of it. A suction goes as the square of the flow.
const near = 0.08

// chunk is the time over which a wall's peak is a mean, ms.
const chunk = 300_000

// usualLoad is the median load while the engine ran; NaN if it is not known.
func (r *run) usualLoad() float64 {
	t := r.load()
	if t == nil {
		return math.NaN()
	}
	on := r.turns()
	var all []float64
	for i := range t.main.bins {
		if b := &t.main.bins[i]; on[i] && b.n > 0 && b.mean() > 0 {
			all = append(all, b.mean())
		}
	}
	return median(all)
}

// share is a load over the usual one, as a flow.
func (r *run) share(load, usual float64) float64 {
	if r.load().Name != flow.Channel {
		return math.Sqrt(max(0, load) / usual)
	}
	return load / usual
}

// atLoad compares what depends on the load, at the usual one.
func (r *run) atLoad(f *figures, on []bool) {
	if math.IsNaN(f.usual) {
		f.usual = r.usualLoad()
	}
	const noLoad = "neither gas flow nor suction is known"
	f.cleanDrop, f.slope = missing("Drop of the clean filter", noLoad), missing("Drop a kilogram", noLoad)
	rel := 0. // of the charcoal
	if f.burnt.value > 0 {
		rel = f.burnt.half / f.burnt.value
	}
	f.loadingSlope = r.loadingPerKg(on, rel)
	for _, w := range r.rig.Walls {
		if r.of(w) != nil {
			f.walls = append(f.walls, missing("Peak of "+plain(w), noLoad))
		}
	}
	if !(f.usual > 0) {
		return
	}
	load := r.load()
	m := r.measure(load.Quantity)
	f.loadName = "a gas flow of " + m.text(f.usual)
	if load.Name != flow.Channel {
		f.loadName = "a suction of " + m.text(f.usual)
	}
	r.filterAt(f, on, rel)
	f.walls = f.walls[:0]
	for _, w := range r.rig.Walls {
		if t := r.of(w); t != nil {
			f.walls = append(f.walls, r.wallAt(t, f.usual, on))
		}
	}
}

// wallAt is the highest mean over 5 min of a wall at the load.
func (r *run) wallAt(t *track, usual float64, on []bool) figure {
	f := missing("Peak of "+plain(t.Name), "the run was never long enough at that load")
	load := r.load()
	best, ms, wide := math.NaN(), int64(0), 0.
	var sum, squares float64
	n := 0
	begun := int64(0)
	for i := range t.main.bins {
		b, l := &t.main.bins[i], &load.main.bins[i]
		at := on[i] && b.n > 0 && l.n > 0 && math.Abs(r.share(l.mean(), usual)-1) <= near
		if !at {
			n = 0
			continue
		}
		if n == 0 {
			sum, squares, begun = 0, 0, t.main.middle(i)
		}
		sum, squares, n = sum+b.mean(), squares+b.mean()*b.mean(), n+1
		if t.main.middle(i)-begun+t.main.step >= chunk {
			mean := sum / float64(n)
			if !(mean <= best) {
				best, ms = mean, t.main.middle(i)
				wide = 2 * math.Sqrt(max(0, squares/float64(n)-mean*mean))
			}
			n = 0
		}
	}
	if math.IsNaN(best) {
		return f
	}
	half, _ := t.half(ms)
	f.m, f.value, f.half = r.measure(sensors.Temperature), best, math.Hypot(half, wide)
	f.note = "highest mean over 5 min"
	return f
}

// burntAt is the charcoal burnt in the middle of a column; NaN if not known.
func (r *run) burntAt(i int) float64 {
	t := r.of(fuel.BurntChannel)
	if t == nil || t.main.bins[i].n == 0 {
		return math.NaN()
	}
	return t.main.bins[i].mean()
}

// cleanedAt is when the filter was last cleaned in the run; from then on its
// line begins anew.
func (r *run) cleanedAt() int64 {
	at := r.from
	for _, n := range r.notes {
		if n.Kind == "cleaned" && n.Ms <= r.to {
			at = max(at, n.Ms)
		}
	}
	for _, c := range r.commands {
		if c.Verb == "cleaned" && c.Err == "" && c.Ms <= r.to {
			at = max(at, c.Ms)
		}
	}
	return at
}

// filterAt puts a line through the filter's drop at the load against the
// charcoal, which is known to rel of it.
func (r *run) filterAt(f *figures, on []bool, rel float64) {
	t, load := r.of(r.rig.FilterDrop), r.load()
	m := r.measure(sensors.Pressure)
	kg := r.measure(sensors.Mass)
	m.digits = max(m.digits, 1)
	per := measure{m.name + "/" + kg.name, m.factor / kg.factor, 0, m.digits}
	if !t.seen() {
		f.cleanDrop.note, f.slope.note = "the drop is not measured", "the drop is not measured"
		return
	}
	since := r.cleanedAt()
	var points []filter.Point
	ms := int64(0)
	for i := range t.main.bins {
		b, l := &t.main.bins[i], &load.main.bins[i]
		if !on[i] || b.n == 0 || l.n == 0 || t.main.middle(i) < since {
			continue
		}
		x, share := r.burntAt(i), r.share(l.mean(), f.usual)
		if share < 0.5 || math.IsNaN(x) {
			continue
		}
		points = append(points, filter.Point{x, b.mean() / share})
		ms = t.main.middle(i)
	}
	const few = "too few readings at load, or the charcoal is not counted"
	line := filter.Fit(points)
	if !line.Determinate || len(points) < 10 {
		f.cleanDrop.note, f.slope.note = few, few
		return
	}
	x := points[0][0]
	half, _ := t.half(ms)
	wide := 2 * line.Residual * math.Sqrt(1/float64(line.N)+(x-line.X)*(x-line.X)/line.Sxx) * widening(&line)
	f.cleanDrop = figure{name: "Drop of the filter at the start", m: m, value: line.At(x), half: math.Hypot(half, wide), note: "at " + f.loadName}
	if since > r.from {
		f.cleanDrop.name, f.cleanDrop.note = "Drop of the cleaned filter", "after it was cleaned, at "+f.loadName
	}
	if early, spread, bent := bentAt(points, &line, half); bent {
		f.cleanDrop.value, f.cleanDrop.half = early, math.Hypot(half, spread)
		f.slope.note = "it did not rise evenly: see the picture"
		return
	}
	f.slope = figure{name: "Drop a kilogram", m: per, value: line.Slope, half: math.Hypot(2*line.SlopeError*widening(&line), rel*line.Slope),
		note: "how fast it loads, at " + f.loadName}
}

// bentAt compares the first part of the points with the line through all. Where
// they are further apart than both are uncertain by, it is no line; early is then
// what the first part says by itself, within spread.
func bentAt(points []filter.Point, line *filter.Line, half float64) (early, spread float64, bent bool) {
	first, last := points[0][0], points[len(points)-1][0]
	var sum, squares, off, n float64
	for _, p := range points {
		if p[0] > first+(last-first)/8 {
			continue
		}
		sum, squares, off, n = sum+p[1], squares+p[1]*p[1], off+p[1]-line.At(p[0]), n+1
	}
	if n < 3 {
		return 0, 0, false
	}
	early = sum / n
	spread = 2 * math.Sqrt(max(0, squares/n-early*early))
	return early, spread, math.Abs(off/n) > half+spread
}

// loadingPerKg is how fast the filter's loading grows.
func (r *run) loadingPerKg(on []bool, rel float64) figure {
	kg := r.measure(sensors.Mass)
	f := missing("Loading a kilogram", "the loading is not reckoned")
	t := r.of(filter.Channel)
	if !t.seen() {
		return f
	}
	var points []filter.Point
	since := r.cleanedAt()
	for i := range t.main.bins {
		if b, x := &t.main.bins[i], r.burntAt(i); on[i] && b.n > 0 && !math.IsNaN(x) && t.main.middle(i) >= since {
			points = append(points, filter.Point{x, b.mean()})
		}
	}
	line := filter.Fit(points)
	if !line.Determinate || len(points) < 10 {
		f.note = "too few readings at load, or the charcoal is not counted"
		return f
	}
	return figure{name: f.name, m: measure{"%/" + kg.name, 1 / kg.factor, 0, 1}, value: line.Slope,
		half: math.Hypot(2*line.SlopeError*widening(&line), rel*line.Slope), note: "of what the filter may hold"}
}

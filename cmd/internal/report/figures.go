package report

import (
	"math"

	"charwarden/sensors"
	"charwarden/sensors/derive/cooldown"
	"charwarden/sensors/derive/filter"
	"charwarden/sensors/derive/flow"
	"charwarden/sensors/derive/fuel"
)

// figure is one number of a run with its half width, k = 2.
type figure struct {
	name    string
	m       measure
	value   float64
	half    float64
	atLeast bool
	note    string // what it is made of, or why there is none
}

func (f figure) known() bool { return !math.IsNaN(f.value) }

// text is the figure in a table.
func (f figure) text() string {
	if !f.known() {
		return "not known"
	}
	if f.atLeast {
		return "at least " + f.m.text(f.value)
	}
	return f.m.brief(f.value, f.half)
}

// about is the figure in a sentence, with what it is of; "" leaves that out.
func (f figure) about(of string) string {
	if f.atLeast {
		return "at least " + f.m.aboutOf(f.value, 0, of)
	}
	return "about " + f.m.aboutOf(f.value, f.half, of)
}

// figures are what a run amounts to.
type figures struct {
	burnt, weighed, rate, engine, gas    figure
	cleanDrop, slope, loadingSlope       figure
	flare, start, tau                    figure
	shaft, perKWh, noted, perNoted       figure
	walls                                []figure // peak at the usual load, in the order of Rig.Walls
	scales                               []figure
	usual                                float64 // load that they are taken at, in its track's unit; NaN: none
	loadName                             string  // "a gas flow of 9.1 Nm³/h"
	batch, loadNote, nozzle, returnNoted string
}

func missing(name, why string) figure {
	return figure{name: name, value: math.NaN(), note: why}
}

var hours = measure{"h", 1, 0, 2}

// figuresOf reckons the figures of a run; usual is the load at which walls and
// filter are compared, NaN for the run's own.
func (r *run) figuresOf(usual float64) figures {
	f := figures{usual: usual}
	on := r.turns()
	r.charcoal(&f, on)
	r.atLoad(&f, on)
	r.lighting(&f)
	r.energy(&f, on)
	if t := r.of(cooldown.TauChannel); t.seen() {
		half, _ := t.half(t.last.ms)
		f.tau = figure{name: "Cool-down constant", m: hours, value: t.last.value / 3600, half: half / 3600,
			note: "time in which the walls lose 63 % of what they are hotter than the air, with everything shut; a leak makes it shorter"}
	} else {
		f.tau = missing("Cool-down constant", "the rig was not followed while it was shut and cooled, or has no wall")
	}
	for _, w := range r.rig.Walls {
		if t := r.of(w + "_scale"); t.seen() {
			half, _ := t.half(t.last.ms)
			f.scales = append(f.scales, figure{name: "Scale on " + plain(w), m: r.measure(sensors.Thickness), value: t.last.value, half: half,
				note: "steel turned to scale so far, by estimate"})
		}
	}
	f.batch, f.nozzle = r.noted("batch"), r.noted("nozzle")
	f.loadNote, f.returnNoted = r.noted("load"), r.noted("return")
	return f
}

// noted are the different texts of a kind of note, in their order.
func (r *run) noted(kind string) string {
	var all []string
	for _, n := range r.notes {
		text := r.noteText(&n)
		if n.Kind == kind && text != "" && n.Ms <= r.end && (len(all) == 0 || all[len(all)-1] != text) {
			all = append(all, text)
		}
	}
	return listed(all)
}

// sum of the values of a kind of note, and how many there are.
func (r *run) sum(kind string) (kg float64, n int) {
	for _, note := range r.notes {
		if note.Kind == kind && note.Value != nil && note.Ms <= r.end {
			kg += *note.Value
			n++
		}
	}
	return kg, n
}

func (r *run) charcoal(f *figures, on []bool) {
	columns := 0
	for _, o := range on {
		if o {
			columns++
		}
	}
	step := newFold(r.from, r.to, mainBins).step
	h := float64(columns) * float64(step) / 3.6e6
	f.engine = figure{name: "Engine ran", m: hours, value: h, half: max(0.02, float64(2*step)/3.6e6), note: "by its speed"}
	if !r.of(r.rig.Speed).seen() {
		f.engine.note = "by the phase: the speed is not measured"
		if len(r.phases) == 0 {
			f.engine = missing("Engine ran", "neither speed nor phase is known")
		}
	}
	f.burnt = missing("Charcoal burnt", "nothing counts it, which wants a gas flow or a scale")
	f.rate = missing("Charcoal an hour", f.burnt.note)
	if t := r.of(fuel.BurntChannel); t.seen() {
		kg := r.grown(t)
		half, least := t.half(t.last.ms)
		if half > kg {
			half = 0 // none that says anything
		}
		f.burnt = figure{name: "Charcoal burnt", m: r.measure(sensors.Mass), value: kg, half: half, atLeast: least,
			note: "counted by the gas or the scale"}
		f.rate.note = "the engine did not run, or too shortly"
		if h >= 0.1 {
			kg := r.during(t, on)
			f.rate = figure{name: "Charcoal an hour", m: r.measure(sensors.MassFlow), value: kg / h, half: half / h, atLeast: f.burnt.atLeast,
				note: "mean while the engine ran"}
		}
	}
	in, n := r.sum("in")
	left, m := r.sum("left")
	f.weighed = missing("Charcoal by the notebook", "the notebook has not both what was put in and what was left")
	if n > 0 && m == 1 {
		f.weighed = figure{name: "Charcoal by the notebook", m: r.measure(sensors.Mass), value: in - left,
			note: "put in less left; how well it was weighed is not known"}
	}
	f.gas = missing("Mean gas flow", "no gas flow is reckoned")
	if t := r.of(flow.Channel); t.seen() {
		if v, ms, ok := meanOn(t, on); ok {
			half, _ := t.half(ms)
			f.gas = figure{name: "Mean gas flow", m: r.measure(sensors.GasFlow), value: v, half: half, note: "while the engine ran, wet, at 0 °C and 1 atm"}
		} else {
			f.gas.note = "the engine did not run"
		}
	}
}

// grown is how much a counter rose, a fresh start from 0 allowed.
func (r *run) grown(t *track) (sum float64) {
	last := math.NaN()
	for _, f := range []*fold{&t.main, &t.cool} {
		for i := range f.bins {
			b := &f.bins[i]
			if b.n == 0 {
				continue
			}
			if math.IsNaN(last) {
				last = b.lo
				if b.hi > b.lo+0.05 { // begun anew within this column, which is much too short to burn that
					continue
				}
				if last < 0.05 {
					last = 0 // it began with the run
				}
			}
			if b.lo < last-0.05 { // begun anew
				sum += max(0, b.hi-last)
				last = 0
				if b.hi > b.lo+0.05 {
					last = b.lo
				}
			}
			if b.hi > last {
				sum += b.hi - last
				last = b.hi
			}
		}
	}
	return sum
}

// during is how much a counter rose in the columns that are on.
func (r *run) during(t *track, on []bool) (sum float64) {
	last := math.NaN()
	for i := range t.main.bins {
		b := &t.main.bins[i]
		if b.n == 0 {
			last = math.NaN() // nobody knows whether the engine turned
			continue
		}
		if on[i] && b.hi > last {
			sum += b.hi - last
		}
		last = b.hi
	}
	return sum
}

// meanOn is the mean over the columns that are on, and the middle of them.
func meanOn(t *track, on []bool) (mean float64, ms int64, ok bool) {
	sum, n := 0., 0
	for i := range t.main.bins {
		if b := &t.main.bins[i]; on[i] && b.n > 0 {
			sum += b.mean()
			n++
			if ms == 0 || n%2 == 0 {
				ms = t.main.middle(i)
			}
		}
	}
	return sum / float64(n), ms, n > 0
}

// lighting is the lighting clock.
func (r *run) lighting(f *figures) {
	minutes := measure{"min", 1, 0, 0}
	lit := int64(0)
	for _, p := range r.phases {
		if p.name == "lighting" {
			lit = p.from
			break
		}
	}
	f.flare = missing("Lighting to flare", "nobody noted the flare")
	f.start = missing("Lighting to engine", "the engine was not seen to start")
	if lit == 0 {
		f.flare.note, f.start.note = "the lighting is not in the log", "the lighting is not in the log"
		return
	}
	for _, n := range r.notes {
		if n.Kind == "flare" && n.Ms >= lit {
			f.flare = figure{name: f.flare.name, m: minutes, value: float64(n.Ms-lit) / 60e3, note: "from the notebook"}
			break
		}
	}
	for _, n := range r.notes {
		if n.Kind == "engine" && n.Ms >= lit {
			f.start = figure{name: f.start.name, m: minutes, value: float64(n.Ms-lit) / 60e3, note: "from the notebook"}
			return
		}
	}
	if t := r.of(r.rig.Speed); t.seen() {
		for i := range t.main.bins {
			if b := &t.main.bins[i]; b.n > 0 && t.main.middle(i) > lit && b.mean() > 300 {
				step := float64(t.main.step) / 60e3
				f.start = figure{name: f.start.name, m: minutes, value: float64(t.main.middle(i)-lit) / 60e3, half: max(step, 0.5), note: "by its speed"}
				return
			}
		}
	}
}

// energy is the work done, where the power is known.
func (r *run) energy(f *figures, on []bool) {
	kwh := measure{"kWh", 1, 0, 2}
	kg := r.measure(sensors.Mass)
	per := measure{kg.name + "/kWh", kg.factor, 0, 2}
	f.shaft, f.perKWh = missing("Work at the shaft", "the shaft power is not reckoned"), missing("Charcoal a kWh at the shaft", "the shaft power is not reckoned")
	f.noted, f.perNoted = missing("Work by the noted load", "no load is noted"), missing("Charcoal a kWh of noted load", "no load is noted")
	step := newFold(r.from, r.to, mainBins).step
	h := float64(step) / 3.6e6
	ratio := func(name string, e figure, note string) figure {
		if !f.burnt.known() || !(e.value > 0.05) {
			return missing(name, "too little work, or the charcoal is not counted")
		}
		v := f.burnt.value / e.value
		half := v * math.Hypot(f.burnt.half/f.burnt.value, e.half/e.value)
		if half > v {
			return missing(name, "it is too uncertain to be told")
		}
		return figure{name: name, m: per, value: v, half: half, atLeast: f.burnt.atLeast, note: note}
	}
	if t := r.of("shaft_power"); t.seen() {
		sum, wide, n := 0., 0., 0
		for i := range t.main.bins {
			if b := &t.main.bins[i]; on[i] && b.n > 0 {
				half, _ := t.half(t.main.middle(i))
				sum, wide, n = sum+b.mean()*h/1000, wide+half*h/1000, n+1
			}
		}
		if n > 0 {
			f.shaft = figure{name: f.shaft.name, m: kwh, value: sum, half: wide, note: "reckoned from the gas, not measured"}
			f.perKWh = ratio(f.perKWh.name, f.shaft, "both reckoned from the same gas: good for comparing, less so by itself")
		}
	}
	sum, load, next := 0., math.NaN(), 0
	for i, o := range on {
		ms := r.from + int64(i)*step
		for ; next < len(r.notes) && r.notes[next].Ms <= ms+step; next++ {
			if n := &r.notes[next]; n.Kind == "load" && n.Value != nil {
				load = *n.Value
			}
		}
		if o && !math.IsNaN(load) {
			sum += load * h / 1000
		}
	}
	if sum > 0 {
		f.noted = figure{name: f.noted.name, m: kwh, value: sum, half: 0.1 * sum, note: "from when it was noted; a noted load is taken as known to 10 %"}
		f.perNoted = ratio(f.perNoted.name, f.noted, "all charcoal of the run over the noted work")
	}
}

// widening of the errors of a line by points that know of each other.
func widening(l *filter.Line) float64 { return math.Sqrt((1 + l.Memory) / (1 - l.Memory)) }

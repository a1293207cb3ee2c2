package blast

import (
	"math"
	"time"

	"charwarden/sensors"
	"charwarden/sensors/derive/engine"
	"charwarden/sensors/derive/gas"
	"charwarden/sensors/derive/hearth"
)

// What the return line must be above the air to count as open, and to stay so,
// K (common practice, no source).
const (
	opens = 20.0
	stays = 10.0
)

// input is the hearth of now, inside its box.
func (b *Blast) input(in *Inputs, draws bool) hearth.Input {
	x := b.in
	b.atmosphere(in, &x)
	if line := within(in.Return, -40, 1000, math.NaN()); !math.IsNaN(line) {
		over := line - x.AirTemp
		b.hot = over > opens || b.hot && over > stays
		x.ExhaustTemp = max(0, min(line, 600))
		if !b.hot {
			x.Return = 0
		}
	}
	if !draws {
		x.Return = 0
	}
	w, q := b.lost(in, x.AirTemp), within(in.Flow, MinFlow, 1e4, 0)
	if !math.IsNaN(w) && q > 0 {
		charcoal := q / b.state.YieldWet / 3600 // kg/s, by the last solution
		x.Loss = min(w/(charcoal*b.state.LHV), 0.25)
	}
	return x
}

// Of rolled steel with its scale, and of still air around it (from memory; the
// loss that follows is an estimate).
const (
	emissivity = 0.85
	convection = 10.0           // W/m2/K
	stefan     = 5.670374419e-8 // W/m2/K4, CODATA 2018
)

// WallLoss is the heat in W that an area in m2 of bare steel at wall loses to
// surroundings at air, both degC: an estimate.
func WallLoss(area, wall, air float64) float64 {
	square := func(x float64) float64 { return x * x }
	w, a := wall+gas.ZeroC, air+gas.ZeroC
	return area * (emissivity*stefan*(square(square(w))-square(square(a))) + convection*(w-a))
}

// lost is WallLoss at the mean of the walls that are good; NaN: not known.
func (b *Blast) lost(in *Inputs, air float64) float64 {
	if b.area == 0 {
		return math.NaN()
	}
	var sum, n float64
	for _, r := range in.Walls {
		if v := within(r, -40, 1300, math.NaN()); !math.IsNaN(v) {
			sum += v
			n++
		}
	}
	if n == 0 {
		return math.NaN()
	}
	return max(0, WallLoss(b.area, sum/n, air))
}

// Half widths of what is not measured (assumptions).
const (
	returnError     = 0.05
	lossError       = 0.05
	moistureError   = 0.02
	efficiencyError = 0.10 // of the indicated efficiency, a share
	frictionError   = 0.20 // of the friction, a share: small engines differ
)

// load is what the engine draws of gas, Nm3/h, and its speed; 0 if not known.
type load struct{ flow, rpm float64 }

func (b *Blast) load(in *Inputs) (d load) {
	if b.spec.Displacement != 0 {
		d.flow, d.rpm = within(in.Flow, MinFlow, 1e4, 0), within(in.Speed, engine.Slowest, 2e4, 0)
	}
	return d
}

// moved is x with one of the three changed by its half width, up or down, within
// its box, and the change as a share of the half width.
func moved(x hearth.Input, which int, sign float64) (hearth.Input, float64) {
	move := func(v, doubt, top float64) (float64, float64) {
		to := max(0, min(v+sign*doubt, top))
		return to, (to - v) / doubt
	}
	var part float64
	switch which {
	case 0:
		x.Return, part = move(x.Return, returnError, most)
	case 1:
		x.Loss, part = move(x.Loss, lossError, 0.25)
	case 2:
		x.Moisture, part = move(x.Moisture, moistureError, 0.25)
	}
	return x, part
}

// judge reckons spread and advice around x, which has the solution s.
func (b *Blast) judge(x *hearth.Input, s *hearth.State, d load) {
	var sum [shaftPower]float64
	for i := range 3 {
		lo, down := moved(*x, i, -1)
		hi, up := moved(*x, i, 1)
		l, _ := b.other.Solve(lo)
		h, _ := b.other.Solve(hi)
		for j, d := range [shaftPower]float64{h.BedExit - l.BedExit, (h.HeatWet - l.HeatWet) / 1e6, h.AirNeedWet - l.AirNeedWet} {
			d /= up - down
			sum[j] += d * d
		}
	}
	for i := range sum {
		b.spread[i] = math.Sqrt(sum[i])
	}
	b.advise(x, s, d)
}

// advise reckons the advice around x, which has the solution s.
func (b *Blast) advise(x *hearth.Input, s *hearth.State, d load) {
	a := Advice{Return: x.Return, Step: min(Step, most-x.Return)}
	at := func(r float64) hearth.State {
		y := *x
		y.Return = r
		next, _ := b.other.Solve(y)
		return next
	}
	next := at(x.Return + a.Step)
	a.Bed = next.BedExit - s.BedExit
	a.Heat = next.HeatWet/s.HeatWet - 1
	a.Power = next.MixtureWet/s.MixtureWet - 1
	if d.flow > 0 && d.rpm > 0 { // friction stays
		indicated := b.spec.IndicatedEfficiency * d.flow * s.HeatWet / 3600
		if shaft := indicated - engine.Friction(b.spec.Displacement, d.rpm); shaft > 0 {
			a.Power = max(-1, a.Power*indicated/shaft)
		}
	}
	// The bed's exit falls with the return: by halves, to 0.4/2^10.
	lo, hi := 0.0, most
	if none := at(0); none.BedExit < Fading {
		hi = 0
	} else if all := at(most); all.BedExit >= Fading {
		lo = most
	}
	for hi-lo > 5e-4 {
		mid := (lo + hi) / 2
		if m := at(mid); m.BedExit >= Fading {
			lo = mid
		} else {
			hi = mid
		}
	}
	a.Quench = lo
	a.Margin = a.Quench - a.Return
	switch {
	case s.BedExit < Fading:
		a.Side = Quenched
	case next.BedExit < Fading:
		a.Side = NearQuenching
	default:
		a.Side = Strong
	}
	b.advice = a
}

// shaft is the power at the shaft: the gas's heat by the indicated efficiency,
// less friction. Below 0, within its uncertainty, it idles.
func (b *Blast) shaft(now time.Time, in *Inputs) sensors.Reading {
	name := names[shaftPower]
	q, n := in.Flow, in.Speed
	switch {
	case q == nil:
		return sensors.Bad(name, now, sensors.Unknown, errNoFlow)
	case n == nil:
		return sensors.Bad(name, now, sensors.Unknown, errNoSpeed)
	case n.Status != sensors.Good:
		r := notGood("speed", n)
		return sensors.Bad(name, r.At, r.Status, r.Err)
	case n.Value < engine.Slowest:
		return sensors.Bad(name, n.At, sensors.Unknown, errStands)
	case q.Status != sensors.Good:
		r := notGood("flow", q)
		return sensors.Bad(name, r.At, r.Status, r.Err)
	}
	at := q.At
	if n.At.Before(at) {
		at = n.At
	}
	heat := q.Value * b.state.HeatWet / 3600
	indicated := b.spec.IndicatedEfficiency * heat
	friction := engine.Friction(b.spec.Displacement, n.Value)
	per := b.spec.IndicatedEfficiency * b.state.HeatWet / 3600
	v := indicated - friction
	u := math.Hypot(math.Hypot(per*q.Uncertainty, indicated*b.spread[gasHeat]*1e6/b.state.HeatWet),
		math.Hypot(indicated*efficiencyError, friction*frictionError))
	return sensors.Reading{Channel: name, At: at, Value: v, Raw: v, Uncertainty: u, Cold: math.NaN(), Status: sensors.Good}
}

package hearth

import (
	"math"

	"charwarden/sensors/derive/gas"
)

// Solver solves hearths; it keeps its last answer to start from, so that the
// next one near it is quick. It allocates nothing. Not for two goroutines.
type Solver struct {
	last point
	in   Input
	have bool
}

// Solve is one solution from a cold start.
func Solve(in Input) (State, error) { return new(Solver).Solve(in) }

// Solve returns the state that in leads to, or a *RangeError.
func (s *Solver) Solve(in Input) (State, error) {
	if err := in.check(); err != nil {
		return State{}, err
	}
	f := newFeed(&in)
	if s.have {
		if u, b, ok := f.newton(s.start(&in), in.Imposed); ok {
			s.last, s.in = u, in
			return f.state(&in, u, &b), nil
		}
	}
	u, b, ok := f.newton(guess(&in), in.Imposed)
	if !ok {
		u, b, ok = approach(&in)
	}
	if !ok {
		return State{}, noAnswer(&in)
	}
	s.last, s.in, s.have = u, in, true
	return f.state(&in, u, &b), nil
}

// noAnswer is what should not happen: a hearth of the box without an answer.
func noAnswer(in *Input) error {
	if in.Imposed {
		return &RangeError{Input: "imposed-temp", Value: in.BedExit, Why: "no gas is in balance with the charcoal there: nearer to 800 degC there is"}
	}
	return &RangeError{Input: "loss", Value: in.Loss, Why: "the heat balance does not close with it: try more"}
}

// start is the last answer, with the temperature that is asked for.
func (s *Solver) start(in *Input) point {
	u := s.last
	if in.Imposed {
		u.t = (in.BedExit + gas.ZeroC) / 1000
	}
	if (s.in.Fuel.Hydrogen == 0 || in.Fuel.Hydrogen == 0) && math.Abs(u.h2) > 20 {
		u.h2 = guess(in).h2
	}
	return u
}

// guess is a start from nothing: the equilibrium moves little but with
// temperature, and that mostly with loss, water and exhaust (fitted by eye).
func guess(in *Input) point {
	t := 1.22 - 2*in.Loss - 1.2*in.Moisture - 0.6*in.Return + 0.0002*in.AirTemp
	if in.Imposed {
		t = (in.BedExit + gas.ZeroC) / 1000
	} else {
		t = max(t, 0.95)
	}
	h2 := 0.02 + in.Fuel.Hydrogen*2.2 + in.Moisture*0.35
	share := 1 / (1 + math.Exp((0.96-t)/0.035)) // of CO in CO and CO2
	return point{math.Log(0.33*share + 0.02), math.Log(h2 * (0.3 + 0.7*share)), t}
}

// approach walks from a hearth that is easy to the one that is asked for, with
// steps as long as Newton's method bears.
func approach(in *Input) (u point, b balance, ok bool) {
	easy := Default()
	easy.Imposed, easy.BedExit = in.Imposed, 800
	f := newFeed(&easy)
	if u, b, ok = f.newton(guess(&easy), in.Imposed); !ok {
		return u, b, false
	}
	for done, step := 0.0, 0.25; done < 1; {
		next := min(1, done+step)
		mid := between(&easy, in, next)
		f := newFeed(&mid)
		v := u
		if in.Imposed {
			v.t = (mid.BedExit + gas.ZeroC) / 1000
		}
		if w, c, found := f.newton(v, in.Imposed); found {
			u, b, done, step = w, c, next, step*1.7
		} else if step /= 2; step < 1e-5 {
			return u, b, false
		}
	}
	return u, b, true
}

// between is the input a share of the way from a to b.
func between(a, b *Input, share float64) Input {
	if share == 1 {
		return *b
	}
	mix := func(x, y float64) float64 { return x + (y-x)*share }
	return Input{
		Fuel: Fuel{mix(a.Fuel.Carbon, b.Fuel.Carbon), mix(a.Fuel.Hydrogen, b.Fuel.Hydrogen), mix(a.Fuel.Oxygen, b.Fuel.Oxygen),
			mix(a.Fuel.Ash, b.Fuel.Ash), mix(a.Fuel.hhv(), b.Fuel.hhv())},
		Moisture: mix(a.Moisture, b.Moisture), Return: mix(a.Return, b.Return), Loss: mix(a.Loss, b.Loss),
		AirTemp: mix(a.AirTemp, b.AirTemp), Humidity: mix(a.Humidity, b.Humidity), ExhaustTemp: mix(a.ExhaustTemp, b.ExhaustTemp),
		Lambda: mix(a.Lambda, b.Lambda), Pressure: mix(a.Pressure, b.Pressure), Imposed: b.Imposed, BedExit: mix(a.BedExit, b.BedExit),
	}
}

package blast

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"charwarden/sensors/derive/engine"
	"charwarden/sensors/derive/hearth"
)

// advised is the advice for a hearth, with the engine at full throttle.
func advised(t *testing.T, in hearth.Input) (Advice, hearth.State) {
	t.Helper()
	o := rig(0)
	o.Hearth = in
	b := of(t, o)
	s := solved(t, in)
	run, err := engine.Run(o.Engine, 3000, engine.From(&s))
	if err != nil {
		t.Fatal(err)
	}
	b.Step(start, Inputs{Speed: good(3000), Flow: good(run.GasFlow)})
	return b.Advice(), s
}

// A step more does what the advice says that it would.
func TestAdvice(t *testing.T) {
	in := hearth.Default()
	in.Loss, in.Return = 0.05, 0.10
	a, s := advised(t, in)
	more := in
	more.Return += Step
	next := solved(t, more)
	spec := rig(0).Engine
	was, _ := engine.Run(spec, 3000, engine.From(&s))
	then, _ := engine.Run(spec, 3000, engine.From(&next))
	near(t, "bed", a.Bed, next.BedExit-s.BedExit, 1e-6)
	near(t, "heat", a.Heat, next.HeatWet/s.HeatWet-1, 1e-9)
	near(t, "power", a.Power, then.Shaft/was.Shaft-1, 1e-6)
	if !(a.Bed < 0 && a.Heat < 0 && a.Power < a.Heat/2) || a.Side != Strong || a.Step != Step {
		t.Errorf("%+v", a)
	}
	more.Return = a.Quench
	near(t, "at the quench point", solved(t, more).BedExit, Fading, 0.5)
	near(t, "margin", a.Margin, a.Quench-in.Return, 1e-12)

	// On to it: near within a step, quenched beyond.
	for _, c := range []struct {
		ret  float64
		side Side
	}{{a.Quench - 1.1*Step, Strong}, {a.Quench - 0.9*Step, NearQuenching}, {a.Quench + 0.01, Quenched}} {
		in.Return = c.ret
		if got, _ := advised(t, in); got.Side != c.side || (got.Margin < 0) != (c.side == Quenched) {
			t.Errorf("return %g: %+v, want %v", c.ret, got, c.side)
		}
	}
}

// The ends of what is reckoned.
func TestAdviceEnds(t *testing.T) {
	lossy := hearth.Default()
	lossy.Loss = 0.25
	if a, _ := advised(t, lossy); a.Side != Quenched || a.Quench != 0 || a.Margin != 0 {
		t.Errorf("%+v", a)
	}
	tight := hearth.Default()
	tight.Loss, tight.Moisture, tight.ExhaustTemp, tight.AirTemp = 0, 0, 600, 300
	if a, _ := advised(t, tight); a.Side != Strong || a.Quench != most || a.Margin != most {
		t.Errorf("%+v", a)
	}
	tight.Return = 0.38
	if a, _ := advised(t, tight); math.Abs(a.Step-0.02) > 1e-12 || !(a.Bed < 0) {
		t.Errorf("%+v", a)
	}
	tight.Return = 0.4
	if a, _ := advised(t, tight); a.Step != 0 || math.Abs(a.Bed) > 1e-9 || a.Side != Strong {
		t.Errorf("%+v", a)
	}
	for s, want := range map[Side]string{Unsaid: "unknown", Strong: "strong", NearQuenching: "near_quenching", Quenched: "quenched", 9: "side(9)"} {
		if s.String() != want {
			t.Errorf("%v, want %s", s, want)
		}
	}
}

// A second, independent implementation, with another return (per mole of air),
// another exhaust and cold carbon in place of charcoal: only what comes before
// what can agree. More loss and more water quench at less return, in its order,
// and in every case more return cools the bed and thins the gas.
func TestDirections(t *testing.T) {
	f, err := os.Open(filepath.Join("..", "..", "..", "testdata", "published", "exhaust_return_balance.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	all, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	theirs := map[string]float64{} // where the bed's exit is at 750 degC
	type point struct{ ret, temp float64 }
	last := map[string]point{}
	for _, row := range all[1:] {
		ret, err1 := strconv.ParseFloat(row[1], 64)
		temp, err2 := strconv.ParseFloat(row[3], 64)
		if err1 != nil || err2 != nil {
			t.Fatal(row)
		}
		name := row[0]
		if p, ok := last[name]; ok && p.temp >= Fading && temp < Fading {
			theirs[name] = p.ret + (ret-p.ret)*(p.temp-Fading)/(p.temp-temp)
		}
		last[name] = point{ret, temp}
	}
	theirs["A_dry_0loss"] = 1 // not within its 0.4
	ours := map[string]float64{}
	for name, c := range map[string]struct{ moisture, loss float64 }{
		"A_dry_0loss": {0, 0}, "B_5moist_5loss": {0.05, 0.05}, "C_5moist_10loss": {0.05, 0.10}, "D_15moist_5loss": {0.15, 0.05},
	} {
		in := hearth.Default()
		in.Moisture, in.Loss, in.ExhaustTemp = c.moisture, c.loss, 80
		a, _ := advised(t, in)
		if !(a.Bed < 0 && a.Heat < 0 && a.Power < 0) {
			t.Errorf("%s: %+v", name, a)
		}
		ours[name] = a.Quench
	}
	for _, pair := range [][2]string{{"A_dry_0loss", "B_5moist_5loss"}, {"B_5moist_5loss", "C_5moist_10loss"}, {"B_5moist_5loss", "D_15moist_5loss"}} {
		if more, less := pair[0], pair[1]; !(theirs[more] > theirs[less] && ours[more] > ours[less]) {
			t.Errorf("%s and %s: theirs %g and %g, ours %g and %g", more, less, theirs[more], theirs[less], ours[more], ours[less])
		}
	}
	t.Logf("quenched at, of the blast: %v", ours)
}

package report

import (
	"math"
	"testing"
	"time"

	"charwarden/cmd/internal/runlog"
	"charwarden/sensors"
	"charwarden/sensors/derive/filter"
)

// bare is a run of an hour with one wall and one cell, a row a second.
func bare(commands ...runlog.Command) *run {
	m := runlog.Meta{Number: 1, LastMs: bootMs + 3_600_000}
	m.Head = runlog.Head{Ms: bootMs, Tick: time.Second, Channels: []runlog.Channel{
		{Name: "wall", Quantity: sensors.Temperature, Unit: "degC", Step: 1, Input: true},
		{Name: "co", Quantity: sensors.CO, Unit: "ppm", Step: 1, Input: true}}}
	m.Run = &runlog.Run{From: bootMs}
	r := newRun(m, Rig{Walls: []string{"wall"}, CO: []string{"co"}}, fixedClock{dawn.Add(-bootMs * time.Millisecond), runlog.Synced}, records{commands: commands})
	r.zone = zoneA
	return r
}

func good(n int64) runlog.Cell { return runlog.Cell{Count: n, Status: sensors.Good} }

// fill puts in all rows, from to to in s; of nil there is none.
func fill(t *testing.T, r *run, from, to int, of func(s int) []runlog.Cell) {
	t.Helper()
	s := r.rows(true)
	for i := from; i < to; i++ {
		if cells := of(i); cells != nil {
			if err := s.add(&runlog.Row{Ms: bootMs + int64(i)*1000, Cells: cells}); err != nil {
				t.Fatal(err)
			}
		}
	}
	r.close(s, r.rows(false))
}

// One reading in an hour is still seen: in the picture and in the sentence.
func TestPeakOfOneReading(t *testing.T) {
	r := bare()
	fill(t, r, 0, 3600, func(s int) []runlog.Cell {
		if s == 1801 {
			return []runlog.Cell{good(900), good(2)}
		}
		return []runlog.Cell{good(400), good(2)}
	})
	c := r.curveOf(r.of("wall"), &r.of("wall").main, "wall")
	high := 0.
	for _, col := range c.cols {
		high = max(high, col.hi)
	}
	if e, _ := r.of("wall").worst(); high != 900 || e.value != 900 || e.ms != bootMs+1_801_000 {
		t.Errorf("highest %g, worst %+v", high, e)
	}
}

// What was not read is not drawn: no line leads over a fault, over missing rows
// or into them.
func TestGapsAreCut(t *testing.T) {
	r := bare()
	fill(t, r, 0, 3600, func(s int) []runlog.Cell {
		switch {
		case s >= 600 && s < 700:
			return []runlog.Cell{{Status: sensors.Open}, good(2)}
		case s >= 1200 && s < 1500:
			return nil
		case s%2 == 1:
			return []runlog.Cell{{}, good(2)} // nothing new: the one before stands
		}
		return []runlog.Cell{good(400), good(2)}
	})
	w := r.of("wall")
	c := r.curveOf(w, &w.main, "wall")
	cuts := 0
	for i, col := range c.cols {
		at := (int64(col.x) - bootMs) / 1000
		if col.cut {
			cuts++
		}
		if at > 606 && at < 694 || at > 1206 && at < 1494 {
			t.Errorf("drawn at %d s", at)
		}
		if i > 0 && col.x-c.cols[i-1].x > float64(2*w.main.step) && !col.cut {
			t.Errorf("joined over a gap at %d s", at)
		}
	}
	if cuts != 2 {
		t.Errorf("%d cuts, want 2", cuts)
	}
	if len(w.spells) != 1 || w.spells[0] != (spell{sensors.Open, bootMs + 600_000, bootMs + 700_000}) {
		t.Errorf("%+v", w.spells)
	}
	if len(r.holes) != 1 || r.holes[0].to-r.holes[0].from != 301_000 {
		t.Errorf("%+v", r.holes)
	}
	if co := r.of("co"); co.spells != nil {
		t.Errorf("%+v", co.spells)
	}
}

// A cell at the end of its range was at least that, and nothing less is said.
func TestClippedIsAtLeast(t *testing.T) {
	r := bare()
	fill(t, r, 0, 3600, func(s int) []runlog.Cell {
		if s > 100 && s < 130 {
			return []runlog.Cell{good(400), {Count: 1000, Status: sensors.ClippedHigh}}
		}
		return []runlog.Cell{good(400), good(30)}
	})
	e, atLeast := r.of("co").worst()
	if e.value != 1000 || !atLeast {
		t.Errorf("%+v at least %v", e, atLeast)
	}
	const want = "Carbon monoxide in the air was at least 1000 ppm, the end of what the cell can show, at 08:41. For 29 s the cell gave no good reading."
	if got := r.gasInAir(); got != want {
		t.Errorf("%q, want %q", got, want)
	}
}

// Test gas is no peak of the run; what comes after it is.
func TestTestGasIsNoPeak(t *testing.T) {
	at := func(s int64, verb, err string) runlog.Command {
		return runlog.Command{Ms: bootMs + 1000*s, Person: "kim", Verb: verb, Body: `{"channel":"co","ppm":100}`, Err: err}
	}
	r := bare(at(60, "bumptest start", ""), at(200, "bumptest end", ""), at(900, "bumptest start", "refused"))
	fill(t, r, 0, 3600, func(s int) []runlog.Cell {
		switch {
		case s > 70 && s < 180:
			return []runlog.Cell{good(400), good(98)}
		case s == 950:
			return []runlog.Cell{good(400), good(31)}
		}
		return []runlog.Cell{good(400), good(2)}
	})
	if e, _ := r.of("co").worst(); e.value != 31 {
		t.Errorf("worst %+v", e)
	}
}

func TestBound(t *testing.T) {
	const h = 3_600_000
	p := func(ms int64, phase string) runlog.PhaseChange { return runlog.PhaseChange{Ms: ms, Phase: phase} }
	for _, c := range []struct {
		name          string
		last          int64
		run           *runlog.Run
		phases        []runlog.PhaseChange
		from, to, end int64
	}{
		{"no phase is known", 2 * h, &runlog.Run{From: h}, nil, h, 2 * h, 2 * h},
		{"no run", 2 * h, nil, []runlog.PhaseChange{p(0, "cold")}, 0, 2 * h, 2 * h},
		{"power cut in the middle", 3 * h, &runlog.Run{From: h}, []runlog.PhaseChange{p(h, "lighting"), p(h+h/2, "running")}, h, 3 * h, 3 * h},
		{"a night of cooling", 40 * h, &runlog.Run{From: h, To: 14 * h}, []runlog.PhaseChange{p(0, "cold"), p(h, "lighting"), p(2*h, "running"), p(5*h, "stopping"), p(5*h+h/10, "sealed"), p(14*h, "cold")},
			h, 5*h + h/10 + 4*h/20 + h/200, 14*h + h/6},
		{"lit again after the end", 40 * h, &runlog.Run{From: h, To: 6 * h}, []runlog.PhaseChange{p(h, "running"), p(5*h, "sealed"), p(8*h, "lighting"), p(9*h, "running")}, h, 5*h + h/5, 8 * h},
		{"ended by hand, and no cold yet", 40 * h, &runlog.Run{From: h, To: 6 * h}, []runlog.PhaseChange{p(h, "running"), p(6*h, "sealed")}, h, 6*h + h/4, 22 * h},
		{"a pause in the middle", 9 * h, &runlog.Run{From: h}, []runlog.PhaseChange{p(h, "running"), p(2*h, "sealed"), p(4*h, "running"), p(8*h, "sealed")}, h, 8*h + 7*h/20, 9 * h},
	} {
		r := &run{meta: runlog.Meta{LastMs: c.last, Run: c.run}}
		r.bound(c.phases)
		if r.from != c.from || r.to != c.to || r.end != c.end {
			t.Errorf("%s: %d, %d, %d; want %d, %d, %d", c.name, r.from, r.to, r.end, c.from, c.to, c.end)
		}
	}
}

// The figures of a tale are what it told.
func TestFiguresOfTheTale(t *testing.T) {
	s := plainTale(3)
	r := s.make(rigA())
	r.zone = zoneA
	f := r.figuresOf(math.NaN())
	for _, c := range []struct {
		f         figure
		want, tol float64
	}{
		{f.burnt, 1.35 * s.hours, 0.05}, {f.engine, s.hours, 0.04}, {f.rate, 1.35, 0.03}, {f.gas, 9.1, 0.1},
		{f.tau, s.tau, 0.01}, {f.loadingSlope, s.perKg, 0.05}, {f.slope, 125 * s.perKg / 60, 0.5},
		{f.cleanDrop, 125 * (1 + 8./60), 3}, {f.flare, 13, 0.01}, {f.start, 20, 0.01},
		{f.shaft, 2.05 * s.hours, 0.1}, {f.perKWh, 1.35 / 2.05, 0.03}, {f.noted, 2.2 * (s.hours - 1./3), 0.05},
	} {
		if !(math.Abs(c.f.value-c.want) <= c.tol) {
			t.Errorf("%s: %g ± %g (%s), want %g", c.f.name, c.f.value, c.f.half, c.f.note, c.want)
		}
	}
	if f.weighed.known() {
		t.Errorf("%+v: nobody noted what was left", f.weighed)
	}
	if f.batch != s.batch || len(f.walls) != 2 || !f.walls[0].known() {
		t.Errorf("%q %+v", f.batch, f.walls)
	}
}

// A counter goes on from the run before until it is begun anew, which may be
// within the first column.
func TestGrown(t *testing.T) {
	for name, c := range map[string]struct {
		bins []bin
		want float64
	}{
		"from 0":                  {[]bin{{lo: 0, hi: 0.02, n: 3}, {lo: 0.02, hi: 0.5, n: 3}, {lo: 0.5, hi: 1, n: 3}}, 1},
		"begun anew at once":      {[]bin{{lo: 0, hi: 1.72, n: 3}, {lo: 0.01, hi: 0.03, n: 3}, {lo: 0.03, hi: 2.3, n: 3}}, 2.3},
		"begun anew later":        {[]bin{{lo: 1.72, hi: 1.72, n: 3}, {lo: 0, hi: 0.01, n: 3}, {lo: 0.01, hi: 2.3, n: 3}}, 2.3},
		"the log begins within":   {[]bin{{lo: 1, hi: 1.01, n: 3}, {}, {lo: 1.4, hi: 1.5, n: 3}}, 0.5},
		"nothing was ever burnt":  {[]bin{{lo: 0, hi: 0, n: 3}, {lo: 0, hi: 0, n: 3}}, 0},
		"twice, the first unread": {[]bin{{}, {lo: 0, hi: 0.02, n: 3}, {lo: 0, hi: 1, n: 3}}, 1},
	} {
		if got := (*run)(nil).grown(&track{main: fold{bins: c.bins}}); math.Abs(got-c.want) > 1e-9 {
			t.Errorf("%s: %g, want %g", name, got, c.want)
		}
	}
}

// A filter that clogs all at once has no slope, and its beginning is told by its
// beginning.
func TestBent(t *testing.T) {
	var even, sudden []filter.Point
	for i := range 100 {
		x := float64(i) / 50 // kg
		even = append(even, filter.Point{x, 120 + 30*x + float64(i%3)})
		sudden = append(sudden, filter.Point{x, 120 + max(0, x-0.7)*1700 + float64(i%3)})
	}
	line := filter.Fit(even)
	if early, _, bent := bentAt(even, &line, 100); bent {
		t.Errorf("an even rise is bent at %g", early)
	}
	line = filter.Fit(sudden)
	if early, spread, bent := bentAt(sudden, &line, 100); !bent || math.Abs(early-121) > 2 || spread > 10 {
		t.Errorf("%g within %g, %v; the line begins at %g", early, spread, bent, line.At(0))
	}
}

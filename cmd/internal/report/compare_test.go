package report

import (
	"math"
	"strings"
	"testing"
)

func TestDiffers(t *testing.T) {
	f := func(v, half float64) figure { return figure{value: v, half: half} }
	for _, c := range []struct {
		a, b figure
		want bool
	}{
		{f(10, 3), f(15.1, 4), true}, // root of 9 + 16 is 5
		{f(10, 3), f(14.9, 4), false},
		{f(15.1, 4), f(10, 3), true},
		{f(10, 3), f(math.NaN(), 1), false},
		{f(10, 1), figure{value: 20, half: 1, atLeast: true}, false},
	} {
		if got := differs(c.a, c.b); got != c.want {
			t.Errorf("%v %v: %v", c.a, c.b, got)
		}
	}
}

// Two runs that are alike are not told apart, and a cooler wall, a dirtier fuel
// and a tighter lid are.
func TestVerdicts(t *testing.T) {
	base := plainTale(1)
	like := base
	like.number = 2
	other := like
	other.wall, other.perKg, other.tau, other.batch = -70, 14, 1.6, "damp"
	lone := like
	for _, c := range []struct {
		name string
		a, b *run
		want []string
		not  []string
	}{
		{"alike", base.make(rigA()), like.make(rigA()), []string{"All runs burnt the same batch", "no difference that these runs can show"}, []string{"than run"}},
		{"another", base.make(rigA()), other.make(rigA()), []string{
			"Run 1 had the hotter wall at equal load than run 2: by 7", "Run 2 loaded the filter faster than run 1", "Run 2 cooled more slowly when shut, so was tighter than run 1: by 0.3",
			"Each run burnt a batch of its own (run 1 acacia, sack 4; run 2 damp)", "Charcoal an hour"}, []string{"more charcoal an hour than"}},
		{"one with nothing but a wall", base.make(rigA()), lone.only(Rig{Walls: []string{"wall_near"}}, "wall_near"), nil, []string{"than run"}},
	} {
		got := verdictsOf(c.a, c.b)
		for _, w := range c.want {
			if !strings.Contains(got, w) {
				t.Errorf("%s: no %q in %q", c.name, w, got)
			}
		}
		for _, w := range c.not {
			if strings.Contains(got, w) {
				t.Errorf("%s: %q in %q", c.name, w, got)
			}
		}
	}
}

func verdictsOf(runs ...*run) string {
	for _, r := range runs {
		r.zone = zoneA
	}
	all, _ := compared(runs)
	return strings.Join(verdicts(runs, all), "\n")
}

// Two runs of one batch against one of another.
func TestBatches(t *testing.T) {
	a, c := plainTale(1), plainTale(3)
	b := a
	b.number = 2
	c.batch, c.perKg = "damp", 14
	got := verdictsOf(a.make(rigA()), b.make(rigA()), c.make(rigA()))
	const want = "Batch “damp” loaded the filter faster than batch “acacia, sack 4”: "
	if !strings.Contains(got, want) || strings.Contains(got, "more charcoal an hour") {
		t.Errorf("no %q in %q", want, got)
	}
}

// The load of a comparison is one that all runs had, not one between them.
func TestCommonLoad(t *testing.T) {
	a, b := plainTale(1).make(rigA()), plainTale(2).make(rigA())
	if got := commonLoad([]*run{a, b}); math.Abs(got-9.1) > 0.5 {
		t.Errorf("common load %g, want about 9.1", got)
	}
	for i := range b.of("gas_flow").main.bins {
		if b := &b.of("gas_flow").main.bins[i]; b.n > 0 {
			b.sum *= 2
		}
	}
	if got := commonLoad([]*run{a, b}); !math.IsNaN(got) {
		t.Errorf("common load %g of 9.1 and 18.2", got)
	}
	if got := verdictsOf(a, b); strings.Contains(got, "equal load") || strings.Contains(got, "faster") {
		t.Errorf("compared at no common load: %q", got)
	}
}

// A run at another load is not compared at a load that it never had.
func TestNoCommonLoad(t *testing.T) {
	s := plainTale(1)
	r := s.make(rigA())
	r.zone = zoneA
	f := r.figuresOf(3 * r.usualLoad())
	if f.walls[0].known() || f.cleanDrop.known() {
		t.Errorf("%+v %+v", f.walls[0], f.cleanDrop)
	}
}

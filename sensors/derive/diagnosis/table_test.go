package diagnosis

import (
	"slices"
	"testing"
	"time"

	"charwarden/sensors/derive/phase"
)

var noon = time.Date(2026, 6, 1, 12, 0, 0, 0, time.UTC)

// siblings are causes that a rig's readings may not tell apart.
var siblings = map[Cause][]Cause{
	Tar:            {FilterWet, FilterLoading},
	FilterWet:      {Tar, WetCharcoal},
	FilterLoading:  {Tar, FilterWet},
	WetCharcoal:    {FilterWet, LeakCold, ReturnBig},
	ReturnBig:      {WetCharcoal},
	LeakCold:       {WetCharcoal},
	Fines:          {NozzleBlocked, Clinker},
	Clinker:        {Fines},
	Bridge:         {LeakHot, HopperLow},
	HopperLow:      {Bridge},
	LeakHot:        {Bridge, NozzleWorn},
	NozzleWorn:     {LeakHot, Bridge},
	ReturnLeftOpen: {SealLeak},
	SealLeak:       {ReturnLeftOpen},
}

// expected are the signs of a cause as its signature has them, everything else
// as usual: z spreads off where it says so, and where it leaves it open only if
// full.
func expected(c Cause, z float64, full bool) Signs {
	s := unknownSigns()
	for i := range signs {
		if rests := i >= KeepsNear; rests == signatures[c].stands {
			s[i] = mark{}
		}
	}
	for _, k := range signatures[c].clues {
		v := map[expect]float64{up: z, down: -z, either: z}[k.want]
		if full {
			v += map[expect]float64{upOr: z, downOr: -z}[k.want]
		}
		s[k.sign] = mark{off: v, z: v}
	}
	if c == Clinker {
		s[WallFar] = mark{off: -z, z: -z} // one side hotter, the other colder
	}
	return s
}

// shown is a Finder to which the signs have been shown for five minutes.
func shown(s Signs, p phase.Phase) *Finder {
	f := New()
	f.signs, f.last, f.phase = s, s, p
	for i := range 300 {
		f.rank(noon.Add(time.Duration(i)*time.Second), 1, p)
	}
	return f
}

func phaseOf(c Cause) phase.Phase {
	if signatures[c].stands {
		return phase.Sealed
	}
	return phase.Running
}

// Expected signs alone name their cause, or a sibling at most as likely.
func TestEverySignature(t *testing.T) {
	for _, c := range Causes() {
		for _, full := range []bool{true, false} {
			f := shown(expected(c, 6, full), phaseOf(c))
			all := f.Findings(nil)
			if len(all) == 0 && !full && f.Verdict() == Unclear {
				continue // its one sure sign is too little
			}
			if len(all) == 0 || all[0].Cause != c && !slices.Contains(siblings[c], all[0].Cause) {
				t.Errorf("%v, full %v: %+v", c, full, all)
				continue
			}
			if !full {
				continue
			}
			family := 0.0
			for _, g := range all {
				if g.Cause == c || slices.Contains(siblings[c], g.Cause) {
					family += g.Certainty
				}
				if g.Cause == c && (len(g.For) == 0 || len(g.Against) > 0) {
					t.Errorf("%v: for %v, against %v", c, g.For, g.Against)
				}
			}
			if family < likely {
				t.Errorf("%v with its siblings: %.2f, %v", c, family, all)
			}
		}
	}
}

// Each channel that is taken away leaves a cause less certain or as certain,
// and with none of them nothing is named.
func TestMissingChannels(t *testing.T) {
	for _, c := range Causes() {
		s := expected(c, 5, true)
		p := phaseOf(c)
		before := shown(s, p).odds[c]
		clues := slices.Clone(signatures[c].clues)
		for _, k := range clues {
			if k.want == steady {
				continue
			}
			s[k.sign] = unknown
			after := shown(s, p).odds[c]
			if after > before+1e-9 {
				t.Errorf("%v: odds %.2f without %v, %.2f with", c, after, k.sign, before)
			}
			before = after
		}
		if f := shown(unknownSigns(), p); len(f.Findings(nil)) > 0 || f.Verdict() != NotEnough {
			t.Errorf("nothing known: %v, %v", f.Verdict(), f.Findings(nil))
		}
	}
}

// A rig as usual has nothing; one sign that no cause names alone is unclear.
func TestVerdict(t *testing.T) {
	well := expected(Causes()[0], 0, false)
	if f := shown(well, phase.Running); f.Verdict() != Nothing || len(f.Findings(nil)) > 0 {
		t.Errorf("well: %v, %v", f.Verdict(), f.Findings(nil))
	}
	odd := well
	odd[WallFar] = mark{off: -40, z: -5}
	if f := shown(odd, phase.Running); f.Verdict() != Unclear {
		t.Errorf("only the far wall cold: %v, %v", f.Verdict(), f.Findings(nil))
	}
	hole := expected(FilterHole, 6, true)
	if f := shown(hole, phase.Running); f.Verdict() != Named {
		t.Errorf("hole: %v", f.Verdict())
	}
}

// A sign that denies a cause leaves it no more than possible.
func TestDenied(t *testing.T) {
	s := expected(Fines, 6, true)
	s[ReturnRise] = mark{off: 60, z: 8}
	f := shown(s, phase.Running)
	if f.chance[Fines] >= likely {
		t.Errorf("fines at %.2f with a return line 8 spreads off", f.chance[Fines])
	}
}

// Nearly certain takes a minute.
func TestSureTakesTime(t *testing.T) {
	s := expected(ReturnShut, 7, true)
	f := New()
	f.signs, f.last, f.phase = s, s, phase.Running
	for i := range 200 {
		f.rank(noon.Add(time.Duration(i)*time.Second), 1, phase.Running)
		if i < 60 && f.chance[ReturnShut] >= nearly {
			t.Fatalf("nearly certain after %d s", i)
		}
	}
	if f.chance[ReturnShut] < nearly {
		t.Errorf("%.2f after 200 s", f.chance[ReturnShut])
	}
	all := f.Findings(nil)
	if w := all[0].Word(); w != NearlyCertain || all[0].Since.Sub(noon) > time.Minute {
		t.Errorf("%v since %v", w, all[0].Since)
	}
}

// Words are one each; every cause has all its texts.
func TestWords(t *testing.T) {
	seen := map[string]bool{}
	for _, c := range Causes() {
		if seen[c.String()] {
			t.Errorf("%v: twice", c)
		}
		seen[c.String()] = true
		if c.Title() == "" || c.First() == "" || len(signatures[c].clues) < 4 {
			t.Errorf("%v: texts or clues are missing", c)
		}
	}
	for s := range signs {
		if seen[s.String()] || tellings[s].up == "" || tellings[s].steady == "" {
			t.Errorf("%v: twice, or no words", s)
		}
		seen[s.String()] = true
	}
	for e := range expects {
		if sum := chances[e][0] + chances[e][1] + chances[e][2]; sum < 0.999 || sum > 1.001 {
			t.Errorf("chances of %d sum to %g", e, sum)
		}
	}
}

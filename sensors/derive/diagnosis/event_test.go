package diagnosis

import (
	"math"
	"testing"
	"time"
)

// suctionRun shows suction of 500 Pa at 10 Hz for two minutes, then what then
// gives at seconds after it, for two minutes.
func suctionRun(then func(s float64) float64) (*events, time.Time) {
	var e events
	now := noon
	var g gauge
	for i := range 2400 {
		now = now.Add(100 * time.Millisecond)
		v := 500.0
		if i >= 1200 {
			v = then(float64(i-1200) / 10)
		}
		e.tick(now, v)
		if i%10 == 9 {
			g.raw, g.have = v, true
			e.second(now, 1, &g, 1, true)
		}
	}
	return &e, now
}

func TestEvents(t *testing.T) {
	for _, c := range []struct {
		name          string
		then          func(s float64) float64
		puffs, lidOff bool
	}{
		{"steady", func(float64) float64 { return 500 }, false, false},
		{"two puffs", func(s float64) float64 {
			if s > 20 && s < 20.4 || s > 60 && s < 60.6 {
				return -200
			}
			return 500
		}, true, false},
		{"a load step", func(s float64) float64 { return 500 + min(s, 5)*160 }, false, false},
		{"the load off", func(s float64) float64 { return 500 - min(s, 5)*60 }, false, false},
		{"the lid open", func(s float64) float64 {
			if s > 20 && s < 50 {
				return 10
			}
			return 500
		}, false, true},
	} {
		e, now := suctionRun(c.then)
		if got := e.puffMark(now).z > moved; got != c.puffs {
			t.Errorf("%s: puffs %v", c.name, got)
		}
		if got := e.collapseMark(now).z > moved; got != c.lidOff {
			t.Errorf("%s: collapse %v", c.name, got)
		}
		if m := e.puffMark(now.Add(time.Hour)); m.z != 0 {
			t.Errorf("%s: an hour later still %v", c.name, m)
		}
	}
}

// A pressure that stays in a narrow band while the flow moves stands still; one
// that moves with it, or stays while the flow does, does not.
func TestStillness(t *testing.T) {
	for _, c := range []struct {
		name   string
		v      func(i int) float64
		others func(i int) float64
		want   bool
	}{
		{"blocked", func(i int) float64 { return 140 + float64(i%2) }, func(i int) float64 { return 3 + float64(i)/1000 }, true},
		{"moves", func(i int) float64 { return 140 + float64(i)/5 }, func(i int) float64 { return 3 + float64(i)/1000 }, false},
		{"both steady", func(i int) float64 { return 140 }, func(i int) float64 { return 3 }, false},
		{"no other", func(i int) float64 { return 140 }, func(i int) float64 { return math.NaN() }, false},
	} {
		var s stillness
		var got float64
		for i := range 300 {
			got = s.stands(noon.Add(time.Duration(i)*time.Second), &gauge{v: c.v(i), have: true}, c.others(i), c.others(i))
		}
		if (got > 0) != c.want {
			t.Errorf("%s: %g s", c.name, got)
		}
	}
}

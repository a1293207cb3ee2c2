package exposure

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

func TestParseProfile(t *testing.T) {
	p, err := ParseProfile("p.csv", strings.NewReader("\ufeff# pump, Tuesday\nminute, note ,ppm\r\n0.5,start,35\n# lunch\n 60,,0\n61.5,\"a,b\",1e3\n"))
	if err != nil {
		t.Fatal(err)
	}
	if want := (Profile{[]Point{{0.5, 35}, {60, 0}, {61.5, 1000}}, 61.5}); fmt.Sprint(p) != fmt.Sprint(want) {
		t.Errorf("%v, want %v", p, want)
	}
	if got, want := p.TWA8h()*480, 59.5*35; math.Abs(got-want) > 1e-9 {
		t.Errorf("%v ppm·min, want %v", got, want)
	}
	p.End = 63.5
	if got, want := p.TWA8h()*480, 59.5*35+2000; math.Abs(got-want) > 1e-9 {
		t.Errorf("%v ppm·min, want %v", got, want)
	}
	p.End = 30
	if got, want := p.TWA8h()*480, 29.5*35; math.Abs(got-want) > 1e-9 {
		t.Errorf("%v ppm·min, want %v", got, want)
	}
}

func TestParseProfileRefuses(t *testing.T) {
	for _, c := range []struct{ in, want string }{
		{"", "p.csv: empty"},
		{"minute,ppm\n", "p.csv: no rows"},
		{"minutes,ppm\n0,1\n", "p.csv:1: minute: no such column"},
		{"# x\nminute,co\n0,1\n", "p.csv:2: ppm: no such column"},
		{"minute,ppm\n0,1\n\nten,2\n", `p.csv:4: minute: "ten": a number`},
		{"minute,ppm\n0,1\n1,-2\n", "p.csv:3: ppm: -2: must be within 0 and 1000000"},
		{"minute,ppm\n0,nan\n", "p.csv:2: ppm: NaN: must be within"},
		{"minute,ppm\n0,1e9\n", "p.csv:2: ppm: 1e+09: must be within"},
		{"minute,ppm\n100001,1\n", "p.csv:2: minute: 100001: must be within 0 and 100000"},
		{"minute,ppm\n5,1\n5,2\n", "p.csv:3: minute: 5: must be after 5"},
		{"minute,ppm\n5\n", "p.csv:2: row: wrong number of fields"},
		{"minute,ppm\n5,\"1\n", "p.csv:2: row: "},
	} {
		_, err := ParseProfile("p.csv", strings.NewReader(c.in))
		if err == nil || !strings.HasPrefix(err.Error(), c.want) {
			t.Errorf("%q: %v, want %s", c.in, err, c.want)
		}
	}
}

// Exact sums agree with sums of seconds.
func TestPeak(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	for range 50 {
		var p Profile
		var seconds []float64
		for range 1 + rng.IntN(12) {
			ppm := float64(rng.IntN(4) * rng.IntN(300))
			p.Points = append(p.Points, Point{float64(len(seconds)) / 60, ppm})
			for range 1 + rng.IntN(600) {
				seconds = append(seconds, ppm)
			}
		}
		p.End = float64(len(seconds)) / 60
		for _, window := range []int{5, 15, 480} {
			want, sum := 0.0, 0.0
			for i, ppm := range seconds {
				if sum += ppm; i >= window*60 {
					sum -= seconds[i-window*60]
				}
				want = max(want, sum/float64(window*60))
			}
			if got, at := p.Peak(float64(window)); math.Abs(got-want) > 1e-9 || at > p.End {
				t.Errorf("%v: %d min: %v at %v, want %v", p, window, got, at, want)
			}
		}
	}
}

// What is taken has rising minutes and values within bounds, and can be
// reckoned with.
func FuzzParseProfile(f *testing.F) {
	f.Add("minute,ppm\n0,35\n60,0\n")
	f.Add("\ufeff# x\nppm,who,minute\n1e6,,0\n0,\"a\nb\",99999\n")
	f.Add("minute,ppm\n1,nan\n")
	f.Add("minute,minute,ppm\n1\n")
	f.Fuzz(func(t *testing.T, in string) {
		p, err := ParseProfile("p.csv", strings.NewReader(in))
		if err != nil {
			if !strings.HasPrefix(err.Error(), "p.csv:") {
				t.Errorf("no place: %v", err)
			}
			return
		}
		last := -1.0
		for _, x := range p.Points {
			if !(x.Minute > last && x.Minute <= MaxMinutes && x.PPM >= 0 && x.PPM <= MaxPPM) {
				t.Fatalf("%v after %v", x, last)
			}
			last = x.Minute
		}
		if last != p.End {
			t.Errorf("ends at %v, last row %v", p.End, last)
		}
		mean5, _ := p.Peak(5)
		mean15, _ := p.Peak(15)
		if y := p.COHb(Light, 1); !(y >= 0 && y <= 99) || !(mean15 <= mean5*(1+1e-6)+1e-6) || math.IsNaN(p.TWA8h()) {
			t.Errorf("%v: %v %%, %v, %v ppm", p, y, mean5, mean15)
		}
	})
}

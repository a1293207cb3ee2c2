package main

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"charwarden/cmd/internal/names"
)

// soakLimits are what a daemon may not grow by, of which the trend over all
// hours after the first is judged.
var soakLimits = []struct {
	name string
	most float64
	of   func(*soaked) float64
}{
	{"memory, MB", 1, func(x *soaked) float64 { return x.RSS }},
	{"memory seen from outside, MB", 1, func(x *soaked) float64 { return x.seen }},
	{"memory of its own, MB", 1, func(x *soaked) float64 { return x.Anon }},
	{"heap, MB", 1, func(x *soaked) float64 { return x.Heap }},
	{"goroutines", 1, func(x *soaked) float64 { return float64(x.Goroutines) }},
	{"open files", 1, func(x *soaked) float64 { return float64(x.fds) }},
}

// judge says what is not as it should be.
func (s *soak) judge(seen []soaked) {
	s.t.Helper()
	late := slices.DeleteFunc(slices.Clone(seen), func(x soaked) bool {
		return x.Hours < 1-1e-6 || x.page[names.MQTTConnected] != 1 // without a connection it has fewer goroutines
	})
	slack := 1.0
	if seen[len(seen)-1].Hours < 20 {
		slack = 3 // too short to tell a trend from the coming and going of connections
	}
	if len(late) >= 5 {
		for _, l := range soakLimits {
			grows := growth(late, l.of)
			top, after := plateau(late, l.of)
			s.t.Logf("%s: trend %+.3f from the first hour to the end, most is %+.3f above the second hour's", l.name, grows, top-after)
			if grows > slack*l.most {
				s.t.Errorf("%s: grows by %.2f", l.name, grows)
			}
		}
	}
	end := &seen[len(seen)-1]
	if missed := end.page[names.TicksMissed]; missed > 0 && end.Stalls == 0 {
		s.t.Errorf("%v ticks missed, and the machine never stood still", missed)
	} else if missed > 0 {
		s.t.Logf("%v ticks missed: the machine stood still %d times", missed, end.Stalls)
	}
	if want := end.Hours * 36000; end.page[names.Ticks]+end.page[names.TicksMissed] < want-20 || end.page[names.Ticks] > want+20 {
		s.t.Errorf("%v ticks in %g h, want %.0f", end.page[names.Ticks], end.Hours, want)
	}
	for _, what := range []string{names.RunLogDropped, names.RunLogFaults, names.ReadingsDropped} {
		if v, there := end.page[what]; v > 0 || !there {
			s.t.Errorf("%s %v, want 0", what, v)
		}
	}
	if s.late+s.unread > 0 {
		say := s.t.Errorf
		if end.Stalls > 0 { // limits of real time are the first to be felt
			say = s.t.Logf
		}
		say("%d people were left without an answer, %d scrapes without a page; the machine stood still %d times", s.late, s.unread, end.Stalls)
	}
	if end.Alarms == 0 || s.did["ack"] == 0 || end.page[names.MQTTConnects] < 2 || end.page[names.MQTTPublished] == 0 {
		s.t.Errorf("%d alarms, %d acknowledged, %v connections, %v messages: this soak proves little",
			end.Alarms, s.did["ack"], end.page[names.MQTTConnects], end.page[names.MQTTPublished])
	}
}

// growth is how much a least-squares line through a quantity rises from the
// first of the marks to the last.
func growth(seen []soaked, of func(*soaked) float64) float64 {
	var x, y, xx, xy float64
	for i := range seen {
		h, v := seen[i].Hours, of(&seen[i])
		x, y, xx, xy = x+h, y+v, xx+h*h, xy+h*v
	}
	n := float64(len(seen))
	slope := (n*xy - x*y) / (n*xx - x*x)
	return slope * (seen[len(seen)-1].Hours - seen[0].Hours)
}

// plateau is the most of a quantity, and the most within the first hour of the
// marks.
func plateau(seen []soaked, of func(*soaked) float64) (top, after float64) {
	top, after = math.Inf(-1), math.Inf(-1)
	for i := range seen {
		v := of(&seen[i])
		top = max(top, v)
		if seen[i].Hours <= seen[0].Hours+1 {
			after = max(after, v)
		}
	}
	return top, after
}

// soakTable is a line for each mark.
func soakTable(seen []soaked) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%6s %8s %8s %8s %8s %6s %4s %9s %6s %7s %8s %5s %9s\n", "hours", "RSS MB", "settled", "anon", "heap MB", "gorout", "fds", "ticks", "missed", "alarms", "log MB", "files", "messages")
	for i := range seen {
		x := &seen[i]
		fmt.Fprintf(&b, "%6.2f %8.2f %8.2f %8.2f %8.3f %6d %4d %9.0f %6.0f %7d %8.2f %5d %9.0f", x.Hours, x.BusyRSS, x.RSS, x.Anon, x.Heap, x.Goroutines, x.fds,
			x.page[names.Ticks], x.page[names.TicksMissed], x.Alarms, float64(x.bytes)/1e6, x.files, x.page[names.MQTTPublished])
		if x.broken {
			b.WriteString("  broker away")
		}
		if x.Stalls > 0 {
			fmt.Fprintf(&b, "  machine stalled %d times", x.Stalls)
		}
		b.WriteByte('\n')
	}
	return b.String()
}

// soakChart is the figure of a soak.
func soakChart(seen []soaked) *chart {
	of := func(f func(*soaked) float64) (y []float64) {
		for i := range seen {
			y = append(y, f(&seen[i]))
		}
		return y
	}
	c := &chart{title: "A daemon through days at the rig", axis: "time on the rig, h", x: of(func(x *soaked) float64 { return x.Hours }),
		under: fmt.Sprintf("Simulated rig, faults that come and go, seed %d; time as fast as the machine follows.", *soakSeed)}
	c.panels = []chartPanel{
		{"Memory", "MB", []series{
			{name: "resident, as it comes", y: of(func(x *soaked) float64 { return x.BusyRSS })},
			{name: "resident, garbage given back", y: of(func(x *soaked) float64 { return x.RSS })},
			{name: "without the program's file", y: of(func(x *soaked) float64 { return x.Anon })},
			{name: "heap that lives", y: of(func(x *soaked) float64 { return x.Heap })}}},
		{"Goroutines and open files", "how many", []series{
			{name: "goroutines", y: of(func(x *soaked) float64 { return float64(x.Goroutines) })},
			{name: "open files", y: of(func(x *soaked) float64 { return float64(x.fds) })}}},
		{"Ticks", "thousands", []series{
			{name: "done", y: of(func(x *soaked) float64 { return x.page[names.Ticks] / 1e3 })},
			{name: "missed", y: of(func(x *soaked) float64 { return x.page[names.TicksMissed] / 1e3 })}}},
		{"Run log", "MB", []series{{name: "all files", y: of(func(x *soaked) float64 { return float64(x.bytes) / 1e6 })}}},
		{"Alarms raised", "how many", []series{{name: "since the start", y: of(func(x *soaked) float64 { return float64(x.Alarms) })}}},
	}
	return c
}

// A leak shows, and noise around a level does not.
func TestSoakTrend(t *testing.T) {
	heap := func(x *soaked) float64 { return x.Heap }
	rng := rand.New(rand.NewPCG(2, 2))
	for _, c := range []struct {
		leak   float64 // MB an hour
		lo, hi float64
	}{{0, -0.3, 0.3}, {0.02, 1.7, 2.3}, {-0.02, -2.3, -1.7}} {
		var seen []soaked
		for h := 1.0; h <= 100; h++ {
			x := soaked{}
			x.Hours, x.Heap = h, 20+c.leak*h+0.2*rng.NormFloat64()
			seen = append(seen, x)
		}
		if g := growth(seen, heap); g < c.lo || g > c.hi {
			t.Errorf("a leak of %g MB/h: grows by %g, want %g to %g", c.leak, g, c.lo, c.hi)
		}
		seen[50].Heap = 30
		if top, after := plateau(seen, heap); top != 30 || after > 21 {
			t.Errorf("most %g, at first %g", top, after)
		}
	}
}

package exposure

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"charwarden/sensors"
)

// naive is a second implementation of Dose. It keeps every step, and looks
// back over all of them each time; it has no rings and no state.
type naive struct{ steps []step }

type step struct {
	at      time.Duration
	ok      bool
	testing bool
	clipped bool
	ppm     float64
}

// part is a time in which one thing holds.
type part struct {
	from, to       time.Duration
	ppm            float64
	clipped, blind bool
}

// history returns all parts until now and whether a gap is open.
func (n *naive) history() (parts []part, open bool) {
	var held *step
	for i := 0; i < len(n.steps)-1; {
		if s := n.steps[i]; s.ok && !s.testing {
			held = &n.steps[i]
			j := i + 1
			for j < len(n.steps)-1 && n.steps[j].ok && n.steps[j].testing == s.testing && n.steps[j].ppm == s.ppm && n.steps[j].clipped == s.clipped {
				j++
			}
			parts = append(parts, part{s.at, n.steps[j].at, s.ppm, s.clipped, false})
			i = j
			continue
		}
		j, tested, lost := i, false, false
		for j < len(n.steps) && (!n.steps[j].ok || n.steps[j].testing) {
			tested = tested || n.steps[j].testing
			lost = lost || !n.steps[j].testing
			j++
		}
		open = j == len(n.steps)
		end := n.steps[min(j, len(n.steps)-1)].at
		if held != nil {
			p := part{n.steps[i].at, end, held.ppm, held.clipped, false}
			switch {
			case p.to-p.from > 15*time.Minute:
				rest := part{p.from + 15*time.Minute, end, 0, false, true}
				p.to = rest.from
				parts = append(parts, p, rest)
			case !open && tested && lost:
				p.clipped = true // any lower bound
				parts = append(parts, p)
			case !open && !tested && n.steps[j].ppm > held.ppm:
				p.ppm, p.clipped = n.steps[j].ppm, p.clipped || n.steps[j].clipped
				parts = append(parts, p)
			default:
				parts = append(parts, p)
			}
		}
		i = j
	}
	if last := n.steps[len(n.steps)-1]; !last.ok || last.testing {
		open = true
	}
	return parts, open && held != nil
}

type shown struct {
	unknown, atLeast bool
	value            float64
}

func (n *naive) shows() (out [5]shown) {
	parts, open := n.history()
	now := n.steps[len(n.steps)-1].at
	begun := len(parts) > 0 || n.steps[len(n.steps)-1].ok && !n.steps[len(n.steps)-1].testing
	y, z := StartCOHb, StartCOHb
	for i, window := range []time.Duration{5 * time.Minute, 15 * time.Minute, 16 * time.Hour, 16 * time.Hour, 16 * time.Hour} {
		out[i].unknown = !begun
		out[i].atLeast = open
		for _, p := range parts {
			if p.to <= now-window {
				continue
			}
			out[i].value += p.ppm * (p.to - max(p.from, now-window)).Seconds()
			out[i].atLeast = out[i].atLeast || p.clipped || p.blind
			out[i].unknown = out[i].unknown || p.blind && i < 2
		}
		out[i].value /= min(window, 8*time.Hour).Seconds()
	}
	for _, p := range parts {
		if p.blind {
			y, z = exact(Rest, y, 0, (p.to-p.from).Minutes()), Linear(1.0/30+713.0/6000, z, 0, (p.to-p.from).Minutes())
		} else {
			y, z = exact(Moderate, y, p.ppm, (p.to-p.from).Minutes()), Linear(0.0404, z, p.ppm, (p.to-p.from).Minutes())
		}
	}
	out[3].value, out[4].value = y, z
	return out
}

// compare holds what d shows against n.
func (n *naive) compare(t *testing.T, d *Dose, within float64) {
	t.Helper()
	for i, want := range n.shows() {
		got := d.Readings(nil)[i]
		if want.unknown {
			if got.Status != sensors.Unknown || got.Err == nil || !math.IsNaN(got.Value) {
				t.Errorf("%v: %s %v %v %v, want unknown", n.steps[len(n.steps)-1].at, got.Channel, got.Status, got.Value, got.Err)
			}
			continue
		}
		if got.Status != sensors.Good || got.AtLeast != want.atLeast || !(math.Abs(got.Value-want.value) <= within) {
			t.Errorf("%v: %s %v %v (at least %v), want %v (%v)", n.steps[len(n.steps)-1].at, got.Channel, got.Status, got.Value, got.AtLeast, want.value, want.atLeast)
		}
	}
}

func TestDoseIsNaive(t *testing.T) {
	for seed := range uint64(25) {
		rng := rand.New(rand.NewPCG(seed, 7))
		d, n := New("co", Opts{}), &naive{}
		at := time.Duration(0)
		end := 3 * time.Hour
		if seed < 3 {
			end = 19 * time.Hour
		}
		for at < end && !t.Failed() {
			s := step{ok: true}
			length := time.Duration(1+rng.IntN(900)) * time.Second
			switch kind := rng.IntN(10); {
			case kind < 6:
				s.ppm = float64(rng.IntN(1000)) / float64(1+rng.IntN(20))
			case kind < 7 && seed%2 == 0:
				s.ppm, s.clipped = 1000, true
			case kind < 8:
				s.testing, s.ppm = true, 400
				s.ok = rng.IntN(2) == 0
			default:
				s.ok = false
				if seed > 5 {
					length *= 2
				}
				if rng.IntN(2) == 0 {
					length = time.Duration(1+rng.IntN(5)) * time.Second
				}
			}
			d.Hold(s.testing)
			for upTo := at + length; at < upTo; at += time.Second {
				r := good(s.ppm)
				switch {
				case !s.ok:
					r = bad(sensors.NoAnswer)
				case s.clipped:
					r = clipped(s.ppm)
				}
				d.Step(start.Add(at), r)
				s.at = at
				n.steps = append(n.steps, s)
				if rng.IntN(400) == 0 && (at < 16*time.Hour || at%time.Minute == 0) {
					n.compare(t, d, 1e-6)
				}
			}
		}
	}
}

// Ten steps a second, off the grid: the window's far edge lies inside a cell,
// which can hide no more than a second of the whole change.
func TestDoseOffTheGrid(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 5))
	d, n := New("co", Opts{}), &naive{}
	ppm := 0.0
	for at := 73 * time.Millisecond; at < 40*time.Minute && !t.Failed(); at += 100 * time.Millisecond {
		if rng.IntN(300) == 0 {
			ppm = float64(rng.IntN(300))
		}
		d.Step(start.Add(at), good(ppm))
		n.steps = append(n.steps, step{at: at, ok: true, ppm: ppm})
		if rng.IntN(300) == 0 {
			n.compare(t, d, 300.0/300)
		}
	}
}

package filter

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"
)

// The clean filter is learned from so many samples of 10 s of steady flow each:
// 10 min together (common practice, no source; the dust of 10 min is in it).
const (
	samples     = 60
	sampleTime  = 10 * time.Second
	sampleLeast = 5               // readings in a sample
	sampleGap   = 2 * time.Second // between readings ends a sample
	steady      = 0.2             // highest less lowest of a sample, of its mean
	minDrop     = 5.0             // Pa; of less a reference cannot be made
	loadsDiffer = 1.5             // from which on a second term can be told
)

// errLearning says how many minutes are left; made here because Step allocates
// nothing.
var errLearning = func() (all [samples + 1]error) {
	for n := range all {
		left := math.Ceil(float64(samples-n) * sampleTime.Minutes())
		all[n] = fmt.Errorf("filter: still learning the clean filter: %g min of steady flow to go", left)
	}
	return all
}()

// Cleaned says that the filter is clean or new from now on. What it takes clean
// is learned from the next 10 min of steady flow: 60 samples of 10 s each in
// which the flow (without one, suction) moves by no more than a fifth, however
// long they are in coming, and the filter takes 5 Pa and twice the uncertainty
// of it or more. Until then the loading is Unknown.
//
// Their median is the clean resistance. If the loads in them differ by more
// than 1.5, the term that grows with the flow is learned with it.
func (l *Loading) Cleaned() {
	l.learning, l.learner, l.have = true, learner{}, false
}

// learn ends learning.
func (l *Loading) learn(now time.Time, byFlow bool) {
	a, b, load := l.learner.law()
	l.learning, l.learner, l.learned = false, learner{}, now
	if byFlow {
		l.ref = reference{viscous: a, inertial: b, load: load}
	} else {
		l.ref = reference{root: a}
	}
}

// learner gathers samples of point, see reference.
type learner struct {
	got [samples]Point
	n   int

	began, at time.Time // of the sample in work
	count     int
	sum       Point
	through   float64 // sum of what must be steady
	low, high float64
}

// add takes the point of a tick, and through that is to be steady. It says
// whether there are samples enough.
func (l *learner) add(now time.Time, p Point, through float64) bool {
	if since := now.Sub(l.at); l.count == 0 || since < 0 || since > sampleGap {
		l.began, l.count, l.sum, l.through, l.low, l.high = now, 0, Point{}, 0, through, through
	}
	l.at = now
	l.count++
	l.sum[0] += p[0]
	l.sum[1] += p[1]
	l.through += through
	l.low, l.high = min(l.low, through), max(l.high, through)
	if now.Sub(l.began) < sampleTime {
		return false
	}
	n := float64(l.count)
	if l.count >= sampleLeast && l.high-l.low <= steady*l.through/n {
		l.got[l.n] = Point{l.sum[0] / n, l.sum[1] / n}
		l.n++
	}
	l.count = 0
	return l.n == samples
}

// law returns a and b of y = a + b x of all samples, and the median x. If the
// loads differ enough, that is the resistant line through the medians of the
// lowest, middle and highest third (Tukey, Exploratory Data Analysis, 1977,
// chapter 5, without its iteration; from memory), as long as neither term is
// below 0. Otherwise a is the median of y and b is 0. A sixth of the samples may
// have any y without much harm.
func (l *learner) law() (a, b, x float64) {
	all := l.got[:]
	slices.SortFunc(all, func(p, q Point) int { return cmp.Compare(p[0], q[0]) })
	x = middle(all, 0)
	const third = samples / 3
	var groups [3]Point
	for i := range groups {
		g := all[i*third : (i+1)*third]
		groups[i][0] = middle(g, 0)
		slices.SortFunc(g, func(p, q Point) int { return cmp.Compare(p[1], q[1]) })
		groups[i][1] = middle(g, 1)
	}
	slices.SortFunc(all, func(p, q Point) int { return cmp.Compare(p[1], q[1]) })
	a = middle(all, 1)
	if low, high := groups[0], groups[2]; high[0] > loadsDiffer*low[0] {
		slope := (high[1] - low[1]) / (high[0] - low[0])
		var at0 float64
		for _, g := range groups {
			at0 += (g[1] - slope*g[0]) / 3
		}
		if slope > 0 && at0 > 0 {
			a, b = at0, slope
		}
	}
	return a, b, x
}

// middle is the median of coordinate i of points sorted by it; they are even in
// number.
func middle(sorted []Point, i int) float64 {
	n := len(sorted)
	return (sorted[n/2-1][i] + sorted[n/2][i]) / 2
}

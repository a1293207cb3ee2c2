package wall

import (
	"math"
	"slices"
	"time"
)

// A slope is that of the last 15 means of 10 s each: 2.5 min (common practice,
// no source).
const (
	points    = 15
	pointTime = 10 * time.Second
	slopeOver = points * pointTime
	slopeNeed = 9 // of the points, within slopeOver
	pairs     = points * (points - 1) / 2
)

// slope is the straight line through the last 2.5 min, that of Theil and Sen:
// the median of the slopes of all pairs of points. A quarter of the points may
// be anywhere. It costs 105 differences every 10 s.
type slope struct {
	at   [points]float64 // s since begun
	mean [points]float64 // degC
	n    int             // of points, ever

	origin, began time.Time // of at 0; of the point in work
	sum, sumAt    float64
	count         int

	known      bool
	rate, zero float64 // K/s; degC at at 0
	doubt      float64 // standard error of rate
	scatter    float64 // standard deviation of a point, K
	last       float64 // at of the newest point
	pairs      [pairs]float64
	off        [points]float64
}

// add takes a temperature.
func (s *slope) add(now time.Time, temp float64) {
	if s.origin.IsZero() {
		s.origin, s.began = now, now
	}
	if since := now.Sub(s.began); since >= pointTime || since < 0 {
		if s.count > 0 {
			i := s.n % points
			s.at[i], s.mean[i] = s.sumAt/float64(s.count), s.sum/float64(s.count)
			s.n++
			s.fit()
		}
		s.began, s.sum, s.sumAt, s.count = now, 0, 0, 0
	}
	s.sum += temp
	s.sumAt += now.Sub(s.origin).Seconds()
	s.count++
}

// fit draws the line.
func (s *slope) fit() {
	s.last = s.at[(s.n-1)%points]
	var use [points]int
	n, sum := 0, 0.0
	for i := range min(s.n, points) {
		if s.last-s.at[i] < slopeOver.Seconds() && s.at[i] <= s.last {
			use[n] = i
			sum += s.at[i]
			n++
		}
	}
	if s.known = n >= slopeNeed; !s.known {
		return
	}
	all := s.pairs[:0]
	spread := 0.0 // sum of squares about the mean
	for a, i := range use[:n] {
		spread += (s.at[i] - sum/float64(n)) * (s.at[i] - sum/float64(n))
		for _, j := range use[:a] {
			if dt := s.at[i] - s.at[j]; dt != 0 {
				all = append(all, (s.mean[i]-s.mean[j])/dt)
			}
		}
	}
	s.rate = median(all)
	off := s.off[:0]
	for _, i := range use[:n] {
		off = append(off, s.mean[i]-s.rate*s.at[i])
	}
	s.zero = median(off)
	for i := range off {
		off[i] = math.Abs(off[i] - s.zero)
	}
	s.scatter = 1.4826 * median(off) // of a normal distribution
	s.doubt = s.scatter / math.Sqrt(spread)
}

// live reports whether the line is one of now.
func (s *slope) live(now time.Time) bool {
	return s.known && now.Sub(s.origin).Seconds()-s.last < 3*pointTime.Seconds()
}

// temp is the line at now, degC.
func (s *slope) temp(now time.Time) float64 { return s.zero + s.rate*now.Sub(s.origin).Seconds() }

// median sorts v, which is not empty.
func median(v []float64) float64 {
	slices.Sort(v)
	n := len(v)
	return (v[(n-1)/2] + v[n/2]) / 2
}

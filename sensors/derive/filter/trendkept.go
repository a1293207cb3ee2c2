package filter

import "math"

// TrendKept is what a Trend needs to go on after the daemon was off: at most
// 256 points.
type TrendKept struct {
	KG     float64 `json:"kg"`     // burnt since the trend began
	Points []Point `json:"points"` // kg, percent; the oldest first
}

// Keep returns what to keep. It changes with every 0.1 kg.
func (t *Trend) Keep() TrendKept {
	k := TrendKept{KG: t.kg, Points: make([]Point, 0, min(t.n, bins))}
	for i := max(0, t.n-bins); i < t.n; i++ {
		p := t.points[i%bins]
		k.Points = append(k.Points, Point{math.Round(1e4*p[0]) / 1e4, math.Round(1e3*p[1]) / 1e3})
	}
	return k
}

// Restore goes on from what was kept, before the first Step. A point that cannot
// be is left out; without the kg nothing of it is of use. What was burnt between
// the last Keep and the first Step is not counted.
func (t *Trend) Restore(k TrendKept) {
	if !(k.KG >= 0 && k.KG < 1e6) {
		return
	}
	t.anew(errFew)
	for _, p := range k.Points[max(0, len(k.Points)-bins):] {
		if p[0] >= 0 && p[0] <= k.KG && math.Abs(p[1]) < 1e5 {
			t.points[t.n] = p
			t.n++
		}
	}
	t.kg, t.cell = k.KG, int64(k.KG/binWidth)
	t.line = Fit(t.points[:t.n])
}

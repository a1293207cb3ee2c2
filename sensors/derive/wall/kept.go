package wall

import "math"

// Kept is what a Watch needs to go on after the daemon was off.
type Kept struct {
	Run     bool        `json:"run"` // one was on
	Ran     bool        `json:"ran"` // there was one
	Over    float64     `json:"over_s"`
	OverLow bool        `json:"over_at_least"`
	X2      float64     `json:"scale_cm2"` // the square of the scale's thickness
	X2Low   bool        `json:"scale_at_least"`
	Temp    float64     `json:"degc"` // the last one; it tells whether the gap counts
	This    map[int]Bin `json:"this"` // by its number, from the least load on
	Last    map[int]Bin `json:"last"`
}

// Keep returns what to keep.
func (w *Watch) Keep() Kept {
	return Kept{Run: w.run, Ran: w.ran, Over: w.over, OverLow: w.overLow, X2: w.x2, X2Low: w.x2Low, Temp: w.temp,
		This: keep(&w.this), Last: keep(&w.last)}
}

func keep(b *[bins]Bin) map[int]Bin {
	m := make(map[int]Bin)
	for i, v := range b {
		if v.Seconds > 0 {
			m[i] = v
		}
	}
	return m
}

// Restore goes on from what was kept, before the first Step. How long the
// daemon was off is not asked: the board's clock may be wrong. A run that was on
// goes on, its time over the limit a lower bound; so is the scale from then on
// if the wall was hot. Numbers that cannot be are left out.
func (w *Watch) Restore(k Kept) {
	w.run, w.ran = k.Run, k.Ran || k.Run
	w.over, w.overLow = sane(k.Over, 1e9), k.OverLow || k.Run || k.Over != sane(k.Over, 1e9)
	w.x2, w.x2Low = sane(k.X2, 100), k.X2Low || k.X2 != sane(k.X2, 100) || sane(k.Temp, 3000) > warm
	restore(&w.this, k.This)
	restore(&w.last, k.Last)
	w.reckon(w.at, nil, nil)
}

func restore(b *[bins]Bin, m map[int]Bin) {
	for i, v := range m {
		j, inside := place(v.Load)
		if inside && j == i && v.Temp > -zeroC && v.Temp < 3000 && v.Seconds == sane(v.Seconds, 1e9) {
			b[i] = v
		}
	}
}

// sane is v, or 0 if it is no number of 0 to most.
func sane(v, most float64) float64 {
	if !(v >= 0 && v <= most) || math.IsInf(v, 0) {
		return 0
	}
	return v
}

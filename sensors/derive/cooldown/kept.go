package cooldown

import (
	"math"
	"time"
)

// Kept is what a Watch needs to go on after the daemon was off.
type Kept struct {
	Best   [bins]float64 `json:"best_s"`
	Sealed bool          `json:"sealed"`
	Floor  float64       `json:"hotter_k"` // that it had become again
}

// Keep returns what to keep.
func (w *Watch) Keep() Kept {
	k := Kept{Best: w.best, Sealed: w.sealed}
	if w.sealed {
		k.Floor = w.hotter()
	}
	return k
}

// Restore goes on with what was kept, before the first Step. A curve begins
// anew: the board's clock may not know how long it was off. Numbers that cannot be
// are left out.
func (w *Watch) Restore(k Kept, now time.Time) {
	for i, b := range k.Best {
		if b > 0 && b < 1e7 {
			w.best[i] = b
		}
	}
	if !k.Sealed {
		return
	}
	w.sealed, w.gasLow = true, math.Inf(1)
	if k.Floor > 0 && k.Floor < 2000 {
		w.floor = k.Floor
	}
	w.anew(now)
}

// HoldKept is what a HoldTest keeps.
type HoldKept struct {
	Best  float64   `json:"best_pa_per_min"`
	Ended time.Time `json:"ended,omitzero"` // zero: no result
	Leak  float64   `json:"leak_pa_per_min,omitempty"`
	Tight bool      `json:"tight,omitempty"`
	Ran   bool      `json:"ran_since,omitempty"`
}

// Keep returns what to keep. A test that runs is not kept.
func (h *HoldTest) Keep() HoldKept {
	k := HoldKept{Best: h.Best}
	if !h.Ended.IsZero() {
		k.Ended, k.Leak, k.Tight, k.Ran = h.Ended.Round(0), h.Leak, h.Tight, h.Ran
	}
	return k
}

// Restore takes what was kept.
func (h *HoldTest) Restore(k HoldKept) {
	if k.Best > 0 && k.Best < 1e6 {
		h.Best = k.Best
	}
	if !k.Ended.IsZero() && k.Leak >= 0 && k.Leak < 1e6 {
		h.Ended, h.Leak, h.Tight, h.Ran, h.err = k.Ended, k.Leak, k.Tight, k.Ran, nil
	}
}

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
	Best float64 `json:"best_pa_per_min"`
}

// Keep returns what to keep.
func (h *HoldTest) Keep() HoldKept { return HoldKept{h.Best} }

// Restore takes what was kept.
func (h *HoldTest) Restore(k HoldKept) {
	if k.Best > 0 && k.Best < 1e6 {
		h.Best = k.Best
	}
}

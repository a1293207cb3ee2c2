package fuel

import "time"

// Kept is what a Hopper needs to go on after the daemon was off.
type Kept struct {
	At     time.Time `json:"at"`   // of the last Step
	Rate   float64   `json:"rate"` // kg/h then: what may burn while the daemon is off
	Known  bool      `json:"known"`
	Least  bool      `json:"at_least"` // left is a lower bound
	Left   float64   `json:"left_kg"`
	Burnt  float64   `json:"burnt_kg"`
	Since  float64   `json:"since_kg"`
	Added  float64   `json:"added_kg"`
	Then   float64   `json:"then_kg"`
	Loose  float64   `json:"loose_kg"`
	Blind  float64   `json:"blind_kg"`
	Gain   float64   `json:"gain"`
	Offset float64   `json:"scale_offset_kg"`
	Scale  bool      `json:"scale_seen"`
}

// Keep returns what to keep.
func (h *Hopper) Keep() Kept {
	return Kept{At: h.at.Round(0), Rate: h.rate, Known: h.known, Least: h.least, Left: h.left, Burnt: h.burnt, Since: h.since, Added: h.added, Then: h.then, Loose: h.loose, Blind: h.blind,
		Gain: h.gain, Offset: h.balance.offset, Scale: !h.balance.first}
}

// Restore goes on with what was kept, before the first Step. Numbers that cannot
// be are left out; without the kilograms nothing of it is of use.
func (h *Hopper) Restore(k Kept) {
	if k.Gain >= leastGain && k.Gain <= mostGain {
		h.gain = k.Gain
	}
	for _, v := range [...]float64{k.Left, k.Burnt, k.Since, k.Added, k.Loose, k.Blind} {
		if !(v >= 0 && v < 1e6) {
			return
		}
	}
	if !finite(k.Then) || !finite(k.Offset) {
		return
	}
	if k.Rate >= 0 && k.Rate < 1e4 {
		h.at, h.rate = k.At, k.Rate
	}
	h.known, h.least, h.left, h.burnt, h.since = k.Known, k.Least, k.Left, k.Burnt, k.Since
	h.added, h.then, h.loose, h.blind = k.Added, k.Then, k.Loose, k.Blind
	h.balance.offset, h.balance.first = k.Offset, !k.Scale
}

package phase

import (
	"time"

	"charwarden/sensors"
)

// fact is what readings say about one thing: nothing, no or yes.
type fact int8

const (
	no      fact = -1
	unknown fact = 0
	yes     fact = 1
)

func not(a fact) fact { return -a }

func both(a, b fact) fact { return min(a, b) }

// reached says whether a reading is at limit or above; nil is not fitted. A
// clipped one speaks for its own side only.
func reached(r *sensors.Reading, limit float64) fact {
	switch {
	case r == nil:
		return unknown
	case r.Value >= limit && (r.Status == sensors.Good || r.Status == sensors.ClippedHigh):
		return yes
	case r.Value < limit && (r.Status == sensors.Good || r.Status == sensors.ClippedLow):
		return no
	}
	return unknown
}

// heat says whether any fitted place is at its limit or above: yes for one that
// is, no only when every one is known to be below. Nothing fitted is unknown.
func (in *Inputs) heat(wall, gas float64) fact {
	all := unknown
	blind := false
	see := func(r *sensors.Reading, limit float64) {
		if r == nil || all == yes {
			return
		}
		switch reached(r, limit) {
		case yes:
			all = yes
		case no:
			all = no
		case unknown:
			blind = true
		}
	}
	for _, w := range in.Walls {
		see(w, wall)
	}
	see(in.GasOut, gas)
	if blind && all == no {
		return unknown
	}
	return all
}

func (in *Inputs) anyHeat() bool {
	for _, w := range in.Walls {
		if w != nil {
			return true
		}
	}
	return in.GasOut != nil
}

// hold measures how long a fact has been yes. Unknown neither begins nor ends
// it, up to patience; after that it begins anew.
type hold struct {
	on          bool
	since, last time.Time
}

const patience = 10 * time.Second

func (h *hold) see(now time.Time, f fact) {
	switch {
	case f == no:
		h.on = false
	case f == yes && (!h.on || now.Sub(h.last) > patience):
		h.on, h.since, h.last = true, now, now
	case f == yes:
		h.last = now
	}
}

// held reports whether the fact is yes at now and has been for d.
func (h *hold) held(now time.Time, d time.Duration) bool {
	return h.on && h.last.Equal(now) && now.Sub(h.since) >= d
}

// mark remembers when something was last seen.
type mark struct {
	seen bool
	at   time.Time
}

func (m *mark) see(now time.Time, f fact) {
	if f == yes {
		m.seen, m.at = true, now
	}
}

// within reports whether it was seen less than d ago.
func (m *mark) within(now time.Time, d time.Duration) bool {
	return m.seen && now.Sub(m.at) < d
}

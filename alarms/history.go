package alarms

import "time"

// points is how many samples of a window are kept: enough for a slope, few
// enough for a small board.
const points = 32

// history is what a windowed rule remembers of its channels: a sample every
// 32nd of the window, oldest first from head.
type history struct {
	at    [points + 1]time.Time
	own   [points + 1]float64
	other [points + 1]float64 // of the other channel
	head  int
	n     int
}

func (h *history) clear() { h.head, h.n = 0, 0 }

// place of the i-th sample, 0 the oldest.
func (h *history) place(i int) int { return (h.head + i) % len(h.at) }

// note adds a sample when it is time for one. A gap of an eighth of the
// window, or a step back in time, makes what was before worthless.
func (h *history) note(now time.Time, own, other float64, window time.Duration) {
	if h.n > 0 {
		gap := now.Sub(h.at[h.place(h.n-1)])
		switch {
		case gap < 0 || gap > max(window/8, 3*time.Second):
			h.clear()
		case gap < window/points:
			return
		}
	}
	if h.n == len(h.at) {
		h.head, h.n = h.place(1), h.n-1
	}
	p := h.place(h.n)
	h.at[p], h.own[p], h.other[p] = now, own, other
	h.n++
	for h.n > 1 && now.Sub(h.at[h.place(1)]) >= window { // the first that is a window old is enough
		h.head, h.n = h.place(1), h.n-1
	}
}

// full reports whether the samples reach back over the window.
func (h *history) full(now time.Time, window time.Duration) bool {
	return h.n > 1 && now.Sub(h.at[h.head]) >= window-window/points
}

// slope of the own channel per second, by least squares over the samples.
func (h *history) slope() float64 {
	var st, sv, stt, stv float64
	for i := range h.n {
		p := h.place(i)
		t, v := h.at[p].Sub(h.at[h.head]).Seconds(), h.own[p]-h.own[h.head]
		st, sv, stt, stv = st+t, sv+v, stt+t*t, stv+t*v
	}
	n := float64(h.n)
	if d := n*stt - st*st; d > 0 {
		return (n*stv - st*sv) / d
	}
	return 0
}

// spans are how far each channel moved, from lowest to highest.
func (h *history) spans() (own, other float64) {
	lo, hi := h.own[h.head], h.own[h.head]
	olo, ohi := h.other[h.head], h.other[h.head]
	for i := range h.n {
		p := h.place(i)
		lo, hi = min(lo, h.own[p]), max(hi, h.own[p])
		olo, ohi = min(olo, h.other[p]), max(ohi, h.other[p])
	}
	return hi - lo, ohi - olo
}

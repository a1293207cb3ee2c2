package report

import (
	"math"
	"slices"

	"charwarden/cmd/internal/runlog"
	"charwarden/sensors"
)

// live is how long the newest reading stands for now, ms: as long as the
// slowest channel may take before it is stale.
const live = 3000

// bin is what a channel showed in one column of a picture.
type bin struct {
	lo, hi, sum float64 // of the good readings
	n           int
	cut         bool // there was a gap before the first of them
}

func (b *bin) mean() float64 { return b.sum / float64(b.n) }

// fold is a stretch of time in columns. Every reading is in one, so that a peak
// of one reading is still seen.
type fold struct {
	from, step int64 // ms
	bins       []bin
}

// newFold covers from to to in at most most columns of at least 2 s.
func newFold(from, to int64, most int) fold {
	step := max(2000, (to-from)/int64(most)+1)
	return fold{from, step, make([]bin, max(1, (to-from)/step+1))}
}

func (f *fold) add(ms int64, v float64, cut bool) {
	i := (ms - f.from) / f.step
	if ms < f.from || i >= int64(len(f.bins)) {
		return
	}
	b := &f.bins[i]
	if b.n == 0 {
		b.lo, b.hi, b.cut = v, v, cut
	}
	b.lo, b.hi, b.sum, b.n = min(b.lo, v), max(b.hi, v), b.sum+v, b.n+1
}

// middle of column i, ms.
func (f *fold) middle(i int) int64 { return f.from + int64(i)*f.step + f.step/2 }

// spell is a time in which a channel had a fault.
type spell struct {
	status   sensors.Status
	from, to int64
}

// extreme is a reading that was the highest or the lowest.
type extreme struct {
	value float64
	ms    int64
}

// track is a channel over a run.
type track struct {
	runlog.Channel
	main, cool fold // while there was a fire, and after it
	good       int64
	peak, low  extreme
	last       extreme // newest good one
	full       extreme // at the top of its range: at least this, NaN: never
	spells     []spell // faults, in the order of time
	unknown    int64   // rows without a value that are no fault
	ill        bool    // the newest is a fault
	cut        bool
	at         int64 // ms of the newest row that said anything of it
	bands      []runlog.Band
	tests      []stretch // with test gas: seen in the pictures, and no peak of the run
}

func newTrack(c runlog.Channel, main, cool fold) *track {
	same := func(f fold) fold { return fold{f.from, f.step, make([]bin, len(f.bins))} }
	nan := extreme{math.NaN(), 0}
	return &track{Channel: c, main: same(main), cool: same(cool), peak: nan, low: nan, last: nan, full: nan}
}

// add takes the channel's cell of a row.
func (t *track) add(ms int64, c *runlog.Cell) {
	switch c.Status {
	case sensors.Unknown:
		if t.Input {
			return // the one before still stands
		}
		t.unknown++
		t.cut, t.ill = true, false
	case sensors.Good:
		v := t.Value(c.Count)
		ms -= c.Lag.Milliseconds()
		t.main.add(ms, v, t.cut)
		t.cool.add(ms, v, t.cut)
		if !(v <= t.peak.value) && !t.tested(ms) {
			t.peak = extreme{v, ms}
		}
		if !(v >= t.low.value) {
			t.low = extreme{v, ms}
		}
		t.last = extreme{v, ms}
		t.good++
		if t.ill {
			t.spells[len(t.spells)-1].to = ms
		}
		t.cut, t.ill, t.at = false, false, ms
	default:
		if v := t.Value(c.Count); c.Status == sensors.ClippedHigh && !(v <= t.full.value) && !t.tested(ms) {
			t.full = extreme{v, ms}
		}
		t.fault(ms, c.Status)
	}
}

// tested says that the channel had test gas at ms.
func (t *track) tested(ms int64) bool {
	return slices.ContainsFunc(t.tests, func(s stretch) bool { return ms >= s.from && ms <= s.to })
}

// fault notes that the channel has one; faults of one kind that all but touch
// are one.
func (t *track) fault(ms int64, s sensors.Status) {
	t.cut = true
	if n := len(t.spells); n > 0 {
		last := &t.spells[n-1]
		if last.status == s && (t.ill || ms-last.to < t.main.step) {
			last.to, t.ill = ms, true
			return
		}
		if t.ill {
			last.to = ms
		}
	}
	t.spells, t.ill = append(t.spells, spell{s, ms, ms}), true
}

// lost says that rows are missing: what stood before stands no longer.
func (t *track) lost() { t.cut = true }

// half width of the channel's readings at ms, in its unit, 0 if none is stated;
// and whether they are lower bounds.
func (t *track) half(ms int64) (half float64, atLeast bool) {
	for _, b := range t.bands {
		if b.Ms > ms {
			break
		}
		half, atLeast = b.HalfWidth, b.AtLeast
	}
	return half, atLeast
}

// worst is the highest that is known: a good reading, or the top of the range
// where it was reached, which is then only the least that it was.
func (t *track) worst() (e extreme, atLeast bool) {
	if t == nil {
		return extreme{math.NaN(), 0}, false
	}
	if t.full.value >= t.peak.value || math.IsNaN(t.peak.value) && !math.IsNaN(t.full.value) {
		return t.full, true
	}
	_, atLeast = t.half(t.peak.ms)
	return t.peak, atLeast
}

// seen says that the channel gave a value at all.
func (t *track) seen() bool { return t != nil && t.good > 0 }

// within is the extent of the good readings from one time to another, to the
// next column.
func (t *track) within(from, to int64) (lo, hi float64) {
	lo, hi = math.NaN(), math.NaN()
	for _, f := range []*fold{&t.main, &t.cool} {
		for i := range f.bins {
			b := &f.bins[i]
			if start := f.from + int64(i)*f.step; b.n == 0 || start+f.step <= from || start > to {
				continue
			}
			if !(b.lo >= lo) {
				lo = b.lo
			}
			if !(b.hi <= hi) {
				hi = b.hi
			}
		}
	}
	return lo, hi
}

package filter

import (
	"errors"
	"fmt"
	"math"
	"time"

	"charwarden/sensors"
)

// The channels of a Trend.
const (
	MassChannel = "filter_clean_mass"
	TimeChannel = "filter_clean_time"
)

// How a Trend reckons (common practice, no source).
const (
	binWidth = 0.1   // kg of charcoal
	bins     = 256   // so that it looks back on 25.6 kg
	binLeast = 10    // readings in a bin that counts
	enough   = 8     // bins for a line
	certain  = 3.0   // standard errors from 0 of a slope that counts
	stray    = 4.0   // standard deviations from the line of a bin that does not
	strayMin = 5.0   // percent that a bin may be off in any case
	few      = 10.0  // percent, the same while there are too few bins for a line
	fell     = 2     // strays in a row, at less than half, that are a cleaning
	moved    = 10    // strays in a row on one side that are a new line
	idle     = 0.05  // kg/h below which nothing burns
	due      = 100.0 // percent
)

// Trend follows the loading against the charcoal that was burnt, and gives what
// may still be burnt until the filter is due. A cake grows with the gas that
// went through it (filtration theory), so that the loading is a straight line
// over kg.
//
// The loading of each 0.1 kg becomes one point, its mean; the line is the least
// squares of the last 256. Points far above or below it are left out:
//
//   - two in a row at less than half of what the line says are a cleaning of
//     which nobody spoke, or a hole: the trend begins anew;
//   - ten in a row on one side, 1 kg, are a new line: the trend begins anew;
//   - before that, from the second on, it is not known: a wet filter is steep,
//     and goes back to its line when it is dry.
//
// Not enough to tell, and Unknown, is a trend of less than 8 points, and one
// whose slope is not above 0 by 3 standard errors, see Line.Rises.
//
// One goroutine owns it.
type Trend struct {
	kg     float64 // burnt since it began
	burnt  float64 // last reading
	begun  bool    // there was one
	points [bins]Point
	n      int // of points, ever
	line   Line

	cell  int64 // of the bin in work
	sum   Point
	ticks int

	strays int // in a row; below 0: under the line
	fallen int // in a row, at less than half

	err        error // why it is not known
	mass, left sensors.Reading
}

var (
	errFew     = errors.New("filter: trend: not enough to tell: less than 0.8 kg burnt")
	errFlat    = errors.New("filter: trend: not enough to tell: the loading does not rise with the charcoal burnt")
	errStray   = errors.New("filter: trend: the loading has left its line: wet, tarry, or a hole")
	errNoBurnt = errors.New("filter: trend: the charcoal burnt is not reckoned")
	errNoLoad  = errors.New("filter: trend: the loading is not reckoned")
	errNoRate  = errors.New("filter: trend: the charcoal's rate is not reckoned")
	errIdle    = errors.New("filter: trend: no charcoal burns")
)

// NewTrend returns a trend of a filter that nothing is known of.
func NewTrend() *Trend {
	t := new(Trend)
	t.anew(errFew)
	t.mass = sensors.Bad(MassChannel, time.Time{}, sensors.Unknown, errFew)
	t.left = sensors.Bad(TimeChannel, time.Time{}, sensors.Unknown, errFew)
	return t
}

// Channels returns what Readings of a Trend will be, in the same order.
func (t *Trend) Channels() []sensors.Channel {
	return []sensors.Channel{
		{Name: MassChannel, Quantity: sensors.Mass, Period: time.Second},
		{Name: TimeChannel, Quantity: sensors.Age, Period: time.Second},
	}
}

// Cleaned says that the filter is clean or new from now on.
func (t *Trend) Cleaned(now time.Time) {
	t.anew(fmt.Errorf("%w: began anew at %s, when the filter was cleaned", errFew, now.Format("15:04")))
}

func (t *Trend) anew(why error) {
	t.kg, t.n, t.line, t.err = 0, 0, Line{}, why
	t.cell, t.sum, t.ticks = 0, Point{}, 0
	t.strays, t.fallen = 0, 0
}

// Step takes the loading in percent, the charcoal burnt in kg, of this run or
// ever, and the rate of it in kg/h. It allocates only when it begins anew.
//
// What may be burnt is known with the engine off too, from what is burnt and
// the line. A loading that is bad, as opposed to Unknown, makes it bad; what
// was burnt meanwhile counts when the loading is back.
func (t *Trend) Step(now time.Time, loading, burnt, rate *sensors.Reading) {
	t.gather(now, loading, burnt)
	t.mass = t.until(now, loading, burnt)
	t.left = t.after(now, rate)
}

// gather adds a tick's readings to the bin in work.
func (t *Trend) gather(now time.Time, loading, burnt *sensors.Reading) {
	if burnt == nil || burnt.Status != sensors.Good || math.IsNaN(burnt.Value-burnt.Value) { // NaN or infinite
		return
	}
	if more := burnt.Value - t.burnt; t.begun && more > 0 {
		t.kg += more
	}
	t.burnt, t.begun = burnt.Value, true // one that went back counts another run
	if cell := int64(t.kg / binWidth); cell != t.cell {
		if t.ticks >= binLeast {
			n := float64(t.ticks)
			t.take(now, Point{t.sum[0] / n, t.sum[1] / n})
		}
		t.cell, t.sum, t.ticks = int64(t.kg/binWidth), Point{}, 0 // kg is 0 if it began anew
	}
	if loading != nil && loading.Status == sensors.Good && !math.IsNaN(loading.Value) {
		t.sum[0] += t.kg
		t.sum[1] += loading.Value
		t.ticks++
	}
}

// take adds a point to the line, unless it strays.
func (t *Trend) take(now time.Time, p Point) {
	want, may := t.line.Y, few
	if t.line.N >= enough {
		want, may = t.line.At(p[0]), max(strayMin, stray*t.line.Scatter(p[0]))
	}
	switch off := p[1] - want; {
	case t.line.N == 0 || math.Abs(off) <= may || t.line.N < enough && off > 0:
		t.strays, t.fallen = 0, 0
		t.points[t.n%bins] = p
		t.n++
		t.line = Fit(t.points[:min(t.n, bins)])
		return
	case off > 0:
		t.strays, t.fallen = max(t.strays, 0)+1, 0
	default:
		t.strays = min(t.strays, 0) - 1
		if p[1] < want/2 {
			t.fallen++
		} else {
			t.fallen = 0
		}
	}
	var why string
	switch {
	case t.fallen >= fell:
		why = "fell to less than half: cleaned, or a hole"
	case t.strays >= moved:
		why = "stays above its line"
	case t.strays <= -moved:
		why = "stays below its line"
	default:
		return
	}
	t.anew(fmt.Errorf("%w: began anew at %s: the loading %s", errFew, now.Format("15:04"), why))
}

// until is what may be burnt until the filter is due.
func (t *Trend) until(now time.Time, loading, burnt *sensors.Reading) sensors.Reading {
	bad := func(at time.Time, s sensors.Status, err error) sensors.Reading {
		return sensors.Bad(MassChannel, at, s, err)
	}
	switch {
	case burnt == nil:
		return bad(now, sensors.Unknown, errNoBurnt)
	case loading == nil:
		return bad(now, sensors.Unknown, errNoLoad)
	}
	at := burnt.At
	if loading.At.Before(at) && loading.Status != sensors.Unknown {
		at = loading.At
	}
	switch {
	case burnt.Status != sensors.Good:
		return bad(at, burnt.Status, cause("trend: charcoal burnt", burnt))
	case loading.Status == sensors.ClippedHigh || loading.Status == sensors.ClippedLow:
		return bad(at, sensors.Unknown, cause("trend: loading", loading))
	case loading.Status != sensors.Good && loading.Status != sensors.Unknown:
		return bad(at, loading.Status, cause("trend: loading", loading))
	case t.line.N < enough:
		return bad(at, sensors.Unknown, t.err)
	case !t.line.Rises(certain):
		return bad(at, sensors.Unknown, errFlat)
	case t.strays > 1 || t.strays < -1:
		return bad(at, sensors.Unknown, errStray)
	}
	x, u := t.line.Reaches(due)
	v := max(0, x-t.kg)
	return sensors.Reading{Channel: MassChannel, At: at, Value: v, Raw: v, Uncertainty: u, Cold: math.NaN(), Status: sensors.Good}
}

// after is the time that mass takes to burn.
func (t *Trend) after(now time.Time, rate *sensors.Reading) sensors.Reading {
	m := &t.mass
	switch {
	case m.Status != sensors.Good:
		return sensors.Bad(TimeChannel, m.At, m.Status, m.Err)
	case rate == nil:
		return sensors.Bad(TimeChannel, now, sensors.Unknown, errNoRate)
	}
	at := m.At
	if rate.At.Before(at) {
		at = rate.At
	}
	switch {
	case rate.Status == sensors.ClippedHigh || rate.Status == sensors.ClippedLow:
		return sensors.Bad(TimeChannel, at, sensors.Unknown, cause("trend: charcoal's rate", rate))
	case rate.Status != sensors.Good:
		return sensors.Bad(TimeChannel, at, rate.Status, cause("trend: charcoal's rate", rate))
	case !(rate.Value >= idle):
		return sensors.Bad(TimeChannel, at, sensors.Unknown, errIdle)
	}
	per := time.Hour.Seconds() / rate.Value
	v := m.Value * per
	return sensors.Reading{Channel: TimeChannel, At: at, Value: v, Raw: v, Cold: math.NaN(), Status: sensors.Good,
		Uncertainty: math.Hypot(m.Uncertainty*per, v*rate.Uncertainty/rate.Value)}
}

// Readings appends those of the last Step, in the order of Channels: kg of
// charcoal until the filter is due, 0 if it is, and the time in s that they
// last at the present rate. The half width of the first, k = 2, is that of the
// line alone, see Line.Reaches: in kg as they are counted. The second's has that
// of the rate besides.
func (t *Trend) Readings(into []sensors.Reading) []sensors.Reading {
	return append(into, t.mass, t.left)
}

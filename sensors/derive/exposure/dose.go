package exposure

import (
	"errors"
	"fmt"
	"math"
	"time"

	"charwarden/sensors"
)

// Opts of a Dose.
type Opts struct {
	Work  Work    // of the operator, for the CFK model
	Start float64 // percent COHb at the start, 0..99; 0: StartCOHb. A smoker has up to 10
}

// StartCOHb is what a non-smoker has without exposure, percent, at the high
// end of what WHO gives: 0.4 to 0.7.
const StartCOHb = 0.7

// The windows of the means, and the rules for what was not measured.
const (
	short    = 5 * time.Minute
	stel     = 15 * time.Minute
	day      = 16 * time.Hour   // the longest working day
	patience = 15 * time.Minute // a last value stands in for a gap no longer
	night    = 8 * time.Hour    // the daemon off this long: a new working day
	live     = 3 * time.Second  // not stepped for longer is a gap
)

// Dose follows a CO channel and gives what an operator beside the cell has
// taken in. One goroutine owns it.
//
// A value counts from the Step that brought it to the next one; below zero it
// counts as 0. Time before the first value counts as clean air. One that is
// clipped high counts as full scale, and all that contains it is AtLeast.
//
// What was not measured:
//
//   - While no value comes, the last one stands in, for 15 minutes at most, and
//     everything is AtLeast. If a higher one ends the gap in that time, that
//     one is counted for the whole gap instead.
//   - After 15 minutes, nothing more is counted: COHb leaves the blood as at
//     rest in clean air. The means are Unknown until their whole window is
//     measured again; the 8 h average and COHb go on as AtLeast until 16 h
//     after the gap. What the last value stood in for is not taken back.
//   - The time that the daemon was off is such a gap (see Restore), and so are
//     more than 3 s without a Step.
//   - A clock that goes back measures no time.
//
// The 8 h average is the sum of C·t over the last 16 h, divided by 8 h however
// long the day was (29 CFR 1910.1000(d)(1)(i)).
type Dose struct {
	names [5]string
	work  Work

	begun   bool
	at      time.Time     // of the last step
	t       time.Duration // measured so far; begins with a day of clean air
	ppm     float64       // what holds from at on
	clipped bool

	cohb, linear     float64 // percent
	seconds, minutes ring

	gap     gap
	testing bool
	atLeast time.Duration // end of what counts as a lower bound
	unknown time.Duration // end of what is not known
	err     error         // since when it was not known
}

// gap is a time without values and what the blood held when it began.
type gap struct {
	open         bool
	from         time.Duration
	since        time.Time
	cohb, linear float64
	tested       bool // a bump test is in it
	lost         bool // a missing value is in it
	long         bool // the last value no longer stands in
}

// New returns a Dose of the CO channel of that name.
func New(co string, o Opts) *Dose {
	if o.Start == 0 {
		o.Start = StartCOHb
	}
	var names [5]string
	for i, c := range Channels(co) {
		names[i] = c.Name
	}
	return begin(names, o.Work, o.Start, o.Start)
}

// begin returns a Dose with a day of clean air behind it.
func begin(names [5]string, w Work, cohb, linear float64) *Dose {
	d := &Dose{names: names, work: w, cohb: cohb, linear: linear, t: day,
		seconds: newRing(time.Second, max(stel, patience)), minutes: newRing(time.Minute, day)}
	d.seconds.add(0, day, 0)
	d.minutes.add(0, day, 0)
	return d
}

// Channels returns what Readings of a CO channel of that name will be, in the
// same order.
func Channels(co string) []sensors.Channel {
	return []sensors.Channel{
		{Name: co + "_mean_5min", Quantity: sensors.Mean, Period: time.Second},
		{Name: co + "_stel_15min", Quantity: sensors.Mean, Period: time.Second},
		{Name: co + "_twa_8h", Quantity: sensors.Mean, Period: time.Second},
		{Name: co + "_cohb", Quantity: sensors.COHb, Period: time.Second},
		{Name: co + "_cohb_linear", Quantity: sensors.COHb, Period: time.Second},
	}
}

// Step counts what held since the last one and takes the reading of now; nil
// is none. It does not allocate, but once for each gap that grows long.
func (d *Dose) Step(now time.Time, co *sensors.Reading) {
	if since := now.Sub(d.at); d.begun && since > 0 {
		if since > live {
			d.lose(d.at)
			d.gap.lost = true
		}
		d.advance(since)
	}
	d.at = now
	ppm, ok := value(co)
	switch {
	case d.testing:
		d.lose(now)
		d.gap.tested = true
	case !ok:
		d.lose(now)
		d.gap.lost = true
	default:
		d.clipped = co.Status == sensors.ClippedHigh
		d.close(ppm)
		d.ppm, d.begun = ppm, true
	}
}

// Hold says that a bump test is on: the gas at the cell is not the operator's
// air. As long as it is on, the last value stands in, as in a gap; what comes
// after the test is not counted for the time of it. End it only when the cell
// is back in clean air.
func (d *Dose) Hold(on bool) { d.testing = on }

func value(co *sensors.Reading) (ppm float64, ok bool) {
	if co == nil || math.IsNaN(co.Value) || co.Status != sensors.Good && co.Status != sensors.ClippedHigh {
		return 0, false
	}
	return min(max(co.Value, 0), mostPPM), true
}

// lose opens a gap, unless there is one or nothing has begun.
func (d *Dose) lose(since time.Time) {
	if d.begun && !d.gap.open {
		d.gap = gap{open: true, from: d.t, since: since, cohb: d.cohb, linear: d.linear}
	}
}

// advance counts what holds for a time; more than two days are as two: nothing of either is left.
func (d *Dose) advance(by time.Duration) {
	by = min(by, 48*time.Hour)
	counts := by
	if d.gap.open {
		counts = min(by, max(0, d.gap.from+patience-d.t))
	}
	if counts > 0 {
		d.count(counts, d.ppm)
		d.cohb = d.work.COHb(d.cohb, d.ppm, counts.Minutes())
		d.linear = Linear(HeavyB, d.linear, d.ppm, counts.Minutes())
		if d.clipped {
			d.atLeast = d.t
		}
	}
	if blind := by - counts; blind > 0 {
		if !d.gap.long {
			d.gap.long = true
			d.err = fmt.Errorf("dose: unknown since %s: no CO reading for more than 15 min; the window must fill again", d.gap.since.Format(time.DateTime))
		}
		d.count(blind, 0)
		d.cohb = Rest.COHb(d.cohb, 0, blind.Minutes())
		d.linear = Linear(restB, d.linear, 0, blind.Minutes())
		d.unknown = d.t
	}
}

func (d *Dose) count(by time.Duration, ppm float64) {
	d.seconds.add(d.t, d.t+by, ppm)
	d.minutes.add(d.t, d.t+by, ppm)
	d.t += by
}

// close ends a gap, if there is one, with the value that came after it.
func (d *Dose) close(after float64) {
	g := d.gap
	d.gap = gap{}
	switch {
	case !g.open || g.long:
	case g.tested && g.lost:
		d.atLeast = d.t
	case !g.tested && after > d.ppm:
		d.seconds.add(g.from, d.t, after-d.ppm)
		d.minutes.add(g.from, d.t, after-d.ppm)
		lasted := (d.t - g.from).Minutes()
		d.cohb = d.work.COHb(g.cohb, after, lasted)
		d.linear = Linear(HeavyB, g.linear, after, lasted)
		if d.clipped && lasted > 0 {
			d.atLeast = d.t
		}
	}
}

var errNone = errors.New("dose: no CO reading yet")

// Readings appends the derived readings of the last Step, in the order of
// Channels. COHb carries an uncertainty of 30 % of its value; the means state
// none.
func (d *Dose) Readings(into []sensors.Reading) []sensors.Reading {
	return append(into,
		d.mean(0, short),
		d.mean(1, stel),
		d.reading(2, d.minutes.sum(d.t-day, d.t)/(8*time.Hour).Seconds(), 0, day),
		d.reading(3, d.cohb, 0.3, day),
		d.reading(4, d.linear, 0.3, day))
}

func (d *Dose) mean(i int, window time.Duration) sensors.Reading {
	if d.t-d.unknown < window {
		return sensors.Bad(d.names[i], d.at, sensors.Unknown, d.err)
	}
	return d.reading(i, d.seconds.sum(d.t-window, d.t)/window.Seconds(), 0, window)
}

// reading is the value of channel i, which part of what happened in the window
// is in. Its uncertainty is a part of the value.
func (d *Dose) reading(i int, v, uncertain float64, window time.Duration) sensors.Reading {
	if !d.begun {
		return sensors.Bad(d.names[i], d.at, sensors.Unknown, errNone)
	}
	return sensors.Reading{Channel: d.names[i], At: d.at, Value: v, Raw: v, Uncertainty: uncertain * v, Cold: math.NaN(), Status: sensors.Good,
		AtLeast: d.gap.open || d.t-max(d.atLeast, d.unknown) < window}
}

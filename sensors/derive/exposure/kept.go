package exposure

import (
	"fmt"
	"math"
	"time"
)

// Kept is what a Dose needs to go on after the daemon was off, as it was when
// the last value came: some 110 numbers. Concentrations are in ppm, COHb in
// percent.
type Kept struct {
	At      time.Time `json:"at"`      // of the last value that counts; zero: nothing kept
	Alive   time.Time `json:"alive"`   // of the last Step
	PPM     float64   `json:"ppm"`     // the last value
	Clipped bool      `json:"clipped"` // it was clipped high
	COHb    float64   `json:"cohb"`
	Linear  float64   `json:"cohb_linear"`
	Minutes []float64 `json:"minutes"` // mean of each of the last 15 minutes, the newest first
	Tens    []float64 `json:"tens"`    // mean of each of the 95 times 10 minutes before them

	// Hours since a time that counts as a lower bound, and since one that is not
	// known; 16 and more: none.
	AtLeastAge float64 `json:"at_least_age_h"`
	UnknownAge float64 `json:"unknown_age_h"`
}

const (
	minutesKept = int(stel / time.Minute)
	tensKept    = int((day-stel)/(10*time.Minute)) + 1
)

// Keep returns what to keep. It may be called as often as one likes to write;
// what happens after the last one that was written is time off to Restore.
func (d *Dose) Keep() Kept {
	if !d.begun {
		return Kept{}
	}
	k := Kept{At: d.at.Round(0), Alive: d.at.Round(0), PPM: d.ppm, Clipped: d.clipped, COHb: d.cohb, Linear: d.linear,
		Minutes: make([]float64, minutesKept), Tens: make([]float64, tensKept)}
	t := d.t
	if d.gap.open {
		k.At, k.COHb, k.Linear, t = d.gap.since.Round(0), d.gap.cohb, d.gap.linear, d.gap.from
	}
	k.AtLeastAge, k.UnknownAge = max(0, t-d.atLeast).Hours(), max(0, t-d.unknown).Hours()
	mean := func(r *ring, begin, end time.Duration) float64 {
		begin = max(begin, t-day, d.t-time.Duration(len(r.cells)-1)*r.step)
		if begin >= end {
			return 0
		}
		return math.Round(1e4*r.sum(begin, end)/(end-begin).Seconds()) / 1e4
	}
	for i := range k.Minutes {
		end := t - time.Duration(i)*time.Minute
		r := &d.seconds
		if d.t-end > stel-time.Minute { // a gap is open, and this is older than the seconds
			r = &d.minutes
		}
		k.Minutes[i] = mean(r, end-time.Minute, end)
	}
	for i := range k.Tens {
		end := t - stel - time.Duration(i)*10*time.Minute
		k.Tens[i] = mean(&d.minutes, end-10*time.Minute, end)
	}
	return k
}

// Restore goes on from what was kept; it is called before the first Step, with
// a now whose wall clock is right. The time off is a gap as any other. Off for
// 8 h or more, a new working day begins: the averages start anew, and COHb from
// what is left. Where the clock went back, nobody knows how long it was: COHb
// does not fall for it, the means are Unknown until they fill again. Numbers
// that cannot be are brought to the nearest that can.
func (d *Dose) Restore(k Kept, now time.Time) {
	if k.At.IsZero() {
		return
	}
	d.ppm, d.clipped = within(k.PPM, mostPPM), k.Clipped
	d.cohb, d.linear = within(k.COHb, 100*mostPart), within(k.Linear, 100*mostPart)
	d.begun, d.at = true, k.At
	gone, off := now.Sub(k.At), now.Sub(k.Alive)
	if gone >= 0 && off >= night {
		d.lose(k.At)
		d.advance(gone)
		*d = *begin(d.names, d.work, d.cohb, d.linear)
		return
	}
	d.refill(k.Minutes, d.t, time.Minute, minutesKept)
	d.refill(k.Tens, d.t-stel, 10*time.Minute, tensKept)
	d.atLeast = d.t - time.Duration(within(k.AtLeastAge, day.Hours())*float64(time.Hour))
	d.unknown = d.t - time.Duration(within(k.UnknownAge, day.Hours())*float64(time.Hour))
	d.err = fmt.Errorf("dose: unknown since before %s", k.At.Format(time.DateTime))

	d.lose(k.At)
	d.gap.lost = true
	if gone < 0 || off < 0 {
		d.err = fmt.Errorf("dose: unknown since %s: the clock went back while the daemon was off; the window must fill again", k.At.Format(time.DateTime))
		d.gap.long, d.gap.from, d.unknown = true, d.t-patience, d.t
		gone = 0
	}
	d.advance(gone)
	d.at = now
}

// refill counts means, the newest first, each of so long and the first until end.
func (d *Dose) refill(means []float64, end, each time.Duration, most int) {
	for _, m := range means[:min(len(means), most)] {
		from := max(end-each, 0)
		d.seconds.add(from, end, within(m, mostPPM))
		d.minutes.add(from, end, within(m, mostPPM))
		end = from
	}
}

// within also brings what is no number to 0.
func within(v, most float64) float64 {
	if !(v > 0) {
		return 0
	}
	return min(v, most)
}

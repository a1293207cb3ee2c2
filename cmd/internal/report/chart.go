package report

import (
	"math"
	"strings"
)

// chart is one picture: curves over one axis, in the reader's unit.
type chart struct {
	title, unit string
	note        string // under it
	x           axis
	y           axis
	curves      []curve
	limits      []line
	bands       []stretch // phases, on a time axis
	holes       []stretch // nothing was written
	alarms      []mark
	tall, small bool
	// channels whose alarms are marked
	channels []string
}

// curve is a channel in columns: what it moved between, and its mean.
type curve struct {
	name  string
	style int
	cols  []column
	ills  []stretch // faults, on a time axis
	full  *float64  // the top of its range, where it was reached
	fulls []float64 // where
}

// column is one place on the x axis.
type column struct {
	x, lo, hi, mid float64
	cut            bool // not joined to the one before
}

// line is a limit.
type line struct {
	at       float64
	name     string
	below    bool
	priority string
}

// mark is an alarm on a time axis.
type mark struct {
	at, to float64
	text   string
}

// styles is how many curves the style sheet tells apart: by their dashes as well
// as by their colours, which people who confuse red and green can tell by their
// lightness.
const styles = 6

// curveOf is a channel's over a fold.
func (r *run) curveOf(t *track, f *fold, name string) curve {
	m := r.measure(t.Quantity)
	c := curve{name: name}
	for i := range f.bins {
		b := &f.bins[i]
		if b.n == 0 {
			continue
		}
		lo, hi := m.shown(b.lo), m.shown(b.hi)
		c.cols = append(c.cols, column{float64(f.middle(i)), min(lo, hi), max(lo, hi), m.shown(b.mean()), b.cut})
	}
	from, to := f.from, f.from+f.step*int64(len(f.bins))
	for _, s := range t.spells {
		if s.to >= from && s.from <= to {
			c.ills = append(c.ills, stretch{max(s.from, from), min(s.to, to), s.status.String()})
			if s.status.String() == "clipped_high" && !math.IsNaN(t.full.value) {
				v := m.shown(t.full.value)
				c.full, c.fulls = &v, append(c.fulls, float64(max(s.from, from)))
			}
		}
	}
	return c
}

// timed makes a picture of channels over the fire or the cooling; nil if none
// of them has a value there.
func (r *run) timed(title string, cooling bool, channels ...string) *chart {
	from, to := r.from, r.to
	if cooling {
		from, to = r.to, r.end
	}
	c := &chart{title: title, x: r.times(from, to), bands: r.phases, holes: r.holes}
	any := false
	for _, name := range channels {
		t := r.of(name)
		if t == nil {
			continue
		}
		c.channels = append(c.channels, name)
		f := &t.main
		if cooling {
			f = &t.cool
		}
		cv := r.curveOf(t, f, plain(name))
		if len(cv.cols) == 0 && len(cv.ills) == 0 {
			continue
		}
		any = any || len(cv.cols) > 0
		cv.style = len(c.curves) % styles
		c.curves = append(c.curves, cv)
		c.unit = r.measure(t.Quantity).name
	}
	if !any {
		return nil
	}
	r.mark(c)
	return c
}

// mark puts the alarms of the picture's channels, and of what is reckoned from
// them, on its time axis.
func (r *run) mark(c *chart) {
	for i := range r.episodes {
		e := &r.episodes[i]
		if e.priority == "notice" || math.IsNaN(e.limit) || // a fault is a black bar at the foot
			float64(e.from) > c.x.to || e.to > 0 && float64(e.to) < c.x.from {
			continue
		}
		for _, name := range c.channels {
			if e.channel == name || strings.HasPrefix(e.channel, name+"_") {
				to := float64(e.to)
				if e.to == 0 {
					to = c.x.to
				}
				c.alarms = append(c.alarms, mark{max(float64(e.from), c.x.from), min(to, c.x.to), fixed(float64(e.number), 0)})
				break
			}
		}
	}
}

// limit draws the levels of the given channels that are one quantity with the
// picture.
func (r *run) limit(c *chart, channels ...string) {
	drawn := map[line]bool{}
	for _, l := range r.rig.Limits {
		if l.Kind != "above" && l.Kind != "below" {
			continue
		}
		for _, name := range channels {
			t := r.of(name)
			if l.Channel != name || t == nil {
				continue
			}
			word := strings.TrimPrefix(l.Alarm, name+"_")
			ln := line{r.measure(t.Quantity).shown(l.Limit), plain(word), l.Kind == "below", l.Priority}
			if !drawn[ln] {
				drawn[ln] = true
				c.limits = append(c.limits, ln)
			}
		}
	}
}

// scaled gives the picture its y axis: all that the curves show, and the limits
// that are not far from it. The others are named below.
func (c *chart) scaled(zero bool) *chart {
	if c == nil {
		return nil
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, cv := range c.curves {
		for _, col := range cv.cols {
			lo, hi = min(lo, col.lo), max(hi, col.hi)
		}
		if cv.full != nil {
			lo, hi = min(lo, *cv.full), max(hi, *cv.full)
		}
	}
	if zero {
		lo = min(lo, 0)
		hi = max(hi, 0)
	}
	reach := 0.45 * (hi - min(lo, 0))
	if reach <= 0 {
		reach = math.Abs(hi)
	}
	top, bottom := hi, lo
	var far []string
	kept := c.limits[:0]
	for _, l := range c.limits {
		switch {
		case !l.below && l.at > hi+reach, l.below && l.at < lo-reach:
			far = append(far, l.name+" "+fixed(l.at, digitsOf(l.at)))
			continue
		default:
			top, bottom = max(top, l.at), min(bottom, l.at)
		}
		kept = append(kept, l)
	}
	c.limits = kept
	if len(far) > 0 {
		c.say("Outside the picture: " + strings.Join(far, ", ") + " " + c.unit + ".")
	}
	steps := 5
	if c.small {
		steps = 3
	}
	c.y = numbers(bottom, top+0.02*(top-bottom), steps, false)
	return c
}

// say adds a sentence to the note.
func (c *chart) say(s string) {
	if c.note != "" {
		c.note += " "
	}
	c.note += s
}

// digitsOf a limit: as many as it has, two at most.
func digitsOf(v float64) int {
	for n := range 2 {
		p := math.Pow(10, float64(n))
		if math.Abs(v*p-math.Round(v*p)) < 1e-6 {
			return n
		}
	}
	return 2
}

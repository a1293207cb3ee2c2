package fuel

import (
	"errors"
	"fmt"
	"math"
	"time"

	"charwarden/sensors"
)

// Names of the channels.
const (
	FlowChannel  = "charcoal_flow"
	BurntChannel = "charcoal_burnt"
	LeftChannel  = "charcoal_left"
	TimeChannel  = "charcoal_time"
)

// Own choices, no source.
const (
	fuelError   = 0.05             // half width of the yield, a share: charcoal varies
	weighError  = 0.05             // kg, half width of what a person weighs
	learnFrom   = 1.0              // kg that must be burnt between two weighings to learn of them
	learnShare  = 0.5              // of what a weighing says is taken
	untold      = 0.5              // so little burnt, in what the balance says: somebody filled and did not tell
	leastGain   = 0.7              // what is burnt over what the balance says
	mostGain    = 1.3              //
	longestStep = 10 * time.Second // between two ticks; a longer one was not watched
	longestOff  = 24 * time.Hour   // that a filling may burn unseen
	slowest     = 0.05             // kg/h, below which no time can be told
)

// Hopper counts charcoal: out by the carbon in the gas, in by what the person
// fills in. What the person weighs, or a scale under the hopper, sets it right;
// where the flow is not fitted, or not good, the scale counts alone.
//
// While neither says how much burns, what may have burnt at the last rate makes
// left wider, and burnt a lower bound; so does the time in which nobody called
// Step, as with the daemon off.
//
// One goroutine owns it.
type Hopper struct {
	o     Opts
	yield float64 // Nm3/kg
	gain  float64 // of the balance, learned

	at   time.Time // of the last step
	rate float64   // kg/h, the last that was known

	known bool // what is in it was told
	least bool // and more was in it than was told
	left  float64
	burnt float64 // kg in this run
	since float64 // kg burnt since left was last known for sure, by the balance without gain
	added float64 // kg filled in since then
	then  float64 // kg left then
	loose float64 // kg that may have been burnt unseen since then
	blind float64 // the same of burnt, in this run
	rel   float64 // half width of what was burnt, a share: the mean over seen
	seen  float64 // kg that rel is known from

	flow    sensors.Reading // of the last step
	balance balancer
}

// New returns a hopper of which nobody knows what is in it.
func New(o Opts) (*Hopper, error) {
	if err := o.check(); err != nil {
		return nil, err
	}
	return &Hopper{o: o, yield: o.Yield, gain: 1, rel: 0.2, seen: 0.001, balance: balancer{first: true}}, nil
}

// Yield says how many Nm3 wet gas a kg makes now. What cannot be is not taken.
func (h *Hopper) Yield(nm3 float64) {
	if nm3 > 0.5 && nm3 < 20 {
		h.yield = nm3
	}
}

// Channels returns what Readings will be, in the same order.
func Channels() []sensors.Channel {
	return []sensors.Channel{
		{Name: FlowChannel, Quantity: sensors.MassFlow, Period: time.Second},
		{Name: BurntChannel, Quantity: sensors.Mass, Period: time.Second},
		{Name: LeftChannel, Quantity: sensors.Mass, Period: time.Second},
		{Name: TimeChannel, Quantity: sensors.Age, Period: time.Second},
	}
}

// Begin starts a new run: burnt counts from 0.
func (h *Hopper) Begin() { h.burnt, h.blind = 0, 0 }

// Filled adds kg that a person put in; where a scale is trusted that counts
// them itself, and this only has to make sense.
func (h *Hopper) Filled(kg float64) error {
	if !(kg > 0) || !finite(kg) {
		return fmt.Errorf("fuel: %g kg: more than 0 is wanted", kg)
	}
	if !h.known { // so much is in it at least: the person who counts begins with this
		h.sure(kg)
		h.least = true
		return nil
	}
	if full := h.left + kg; !h.balance.trusted && h.o.Capacity > 0 && full > 1.2*h.o.Capacity {
		return fmt.Errorf("fuel: with %.3g kg more it would hold %.3g kg, and the file says %.3g: weigh what is in it, and say that", kg, full, h.o.Capacity)
	}
	if !h.balance.trusted {
		h.left += kg
		h.added += kg
	}
	return nil
}

// Weighed sets what is in it to the kg that a person weighed, 0 for empty, and
// learns from what the balance made of it.
func (h *Hopper) Weighed(kg float64) error {
	if !(kg >= 0) || !finite(kg) {
		return fmt.Errorf("fuel: %g kg: 0 or more is wanted", kg)
	}
	if h.o.Capacity > 0 && kg > 1.2*h.o.Capacity {
		return fmt.Errorf("fuel: %.3g kg: the file says that it holds %.3g", kg, h.o.Capacity)
	}
	if out := h.then + h.added - kg; h.known && h.since >= learnFrom && h.loose < 0.1*h.since && out > untold*h.since {
		h.gain = max(leastGain, min(mostGain, h.gain+learnShare*(out/h.since-h.gain)))
	}
	if h.sure(kg); h.balance.trusted {
		h.balance.offset, h.balance.waiting = h.balance.shows-kg, false
	}
	return nil
}

func (h *Hopper) sure(kg float64) {
	h.known, h.least, h.left, h.then = true, false, kg, kg
	h.since, h.added, h.loose = 0, 0, 0
}

// Step takes the gas that the hearth makes, in Nm3/h, and what a scale shows, in
// kg; nil is not fitted.
func (h *Hopper) Step(now time.Time, flow, scale *sensors.Reading) {
	dt := now.Sub(h.at)
	if h.at.IsZero() || dt < 0 {
		dt = 0
	}
	if dt > longestStep {
		h.unseen(h.rate * min(dt, longestOff).Hours()) // a board's clock may leap by years when it is set
		dt = 0
	}
	h.at = now
	hours := dt.Hours()
	h.flow = h.rateOf(now, flow)
	byFlow, byScale := true, scale != nil && scale.Status == sensors.Good
	switch {
	case h.flow.Status == sensors.Good:
		h.rate = h.flow.Value
		kg := h.rate * hours
		if kg > 0 { // by kilograms: a flow that dies away is little known, and burns little
			h.rel = (h.rel*h.seen + h.flow.Uncertainty*hours) / (h.seen + kg)
			h.seen += kg
		}
		h.left, h.burnt, h.since = h.left-kg, h.burnt+kg, h.since+kg/h.gain
	case flow != nil && h.flow.Status == sensors.Unknown: // nothing is drawn
		h.rate = 0
	default:
		if byFlow = false; !byScale { // it may go on as it did
			h.unseen(h.rate * hours)
		}
	}
	if scale != nil {
		h.weigh(now, hours, scale, byFlow)
	}
	if h.left < 0 {
		h.left, h.least = 0, h.least || !byScale
	}
	h.loose = min(h.loose, h.left)
}

// unseen says that so much may have burnt, and no more than there was.
func (h *Hopper) unseen(kg float64) {
	if h.known {
		kg = min(kg, max(0, h.left-h.loose))
	}
	h.loose += kg
	h.blind += kg
}

// rateOf is the charcoal that makes a flow of gas.
func (h *Hopper) rateOf(now time.Time, flow *sensors.Reading) sensors.Reading {
	switch {
	case flow == nil:
		return sensors.Bad(FlowChannel, now, sensors.Unknown, errNoFlow)
	case flow.Status != sensors.Good:
		s := flow.Status
		if s == sensors.ClippedHigh || s == sensors.ClippedLow {
			s = sensors.OutOfRange // full scale of suction is no bound of what was burnt
		}
		return sensors.Bad(FlowChannel, flow.At, s, flow.Err)
	}
	v := h.gain * flow.Value / h.yield
	return sensors.Reading{Channel: FlowChannel, At: flow.At, Value: v, Raw: flow.Value / h.yield, Cold: math.NaN(), Status: sensors.Good,
		Uncertainty: math.Hypot(h.gain*flow.Uncertainty/h.yield, v*fuelError)}
}

var (
	errNoFlow = errors.New("fuel: the gas flow is not measured")
	errUntold = errors.New("fuel: nobody has said what is in the hopper: charwarden filled KG, or weighed KG")
	errLearns = errors.New("fuel: the scale has not yet told how fast it burns: that takes 10 min")
	errNoRate = errors.New("fuel: nothing is burnt now")
)

// Readings appends those of the last Step, in the order of Channels. Half widths
// are for k = 2: of what was burnt since the last weighing, of the weighing, and
// all of what may have been burnt while the flow was not known. Burnt is then
// AtLeast.
//
// Left ends at 0. That it still burns then tells that more was in than was said:
// it is AtLeast from then on, until somebody weighs, as it is where nobody knew
// what was in before the first filling. The time is that to the heel at the
// present rate, and at least that if left is.
func (h *Hopper) Readings(into []sensors.Reading) []sensors.Reading {
	good := func(channel string, v, u float64) sensors.Reading {
		return sensors.Reading{Channel: channel, At: h.at, Value: v, Raw: v, Uncertainty: u, Cold: math.NaN(), Status: sensors.Good}
	}
	burnt := good(BurntChannel, h.burnt, h.rel*h.burnt+h.blind)
	burnt.AtLeast = h.blind > 0
	left := good(LeftChannel, h.left, h.leftError())
	if left.AtLeast = h.least; h.least && h.left == 0 {
		left.Uncertainty = max(left.Uncertainty, h.o.Heel) // it may be on its heel
	}
	if !h.known {
		left = sensors.Bad(LeftChannel, h.at, sensors.Unknown, errUntold)
	}
	return append(into, h.flow, burnt, left, h.until(&left))
}

// leftError is the half width of what is left.
func (h *Hopper) leftError() float64 {
	if h.balance.trusted {
		return math.Hypot(weighError, h.balance.half)
	}
	return math.Hypot(weighError, h.rel*h.since*h.gain) + h.loose
}

func (h *Hopper) until(left *sensors.Reading) sensors.Reading {
	switch {
	case left.Status != sensors.Good:
		return sensors.Bad(TimeChannel, h.at, left.Status, left.Err)
	case h.flow.Status == sensors.Unknown || h.flow.Status == sensors.Good && h.flow.Value < max(slowest, h.flow.Uncertainty):
		return sensors.Bad(TimeChannel, h.flow.At, sensors.Unknown, errNoRate)
	case h.flow.Status != sensors.Good:
		return sensors.Bad(TimeChannel, h.flow.At, h.flow.Status, h.flow.Err)
	}
	per := 3600 / h.flow.Value
	v := max(0, left.Value-h.o.Heel) * per
	return sensors.Reading{Channel: TimeChannel, At: h.flow.At, Value: v, Raw: v, Cold: math.NaN(), Status: sensors.Good, AtLeast: left.AtLeast,
		Uncertainty: math.Hypot(left.Uncertainty*per, v*h.flow.Uncertainty/h.flow.Value)}
}

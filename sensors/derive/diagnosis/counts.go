package diagnosis

import (
	"math"
	"time"
)

// counts marks what needs no reference.
func (f *Finder) counts(now time.Time, l loads) {
	s := &f.signs
	filled := f.in[inLoading].value()
	if r := &f.ref.filter; filled != filled && r.N > fills && s[Drop].known() {
		filled = 50 * math.Expm1(r.Level+s[Drop].off-r.Cleanest)
	}
	if filled == filled {
		s[Filled] = mark{off: filled, z: clip(max(0, (filled-60)/14) + min(0, filled/8))}
	}
	if f.in[inSuction].have {
		s[Puffs], s[Collapse] = f.events.puffMark(now), f.events.collapseMark(now)
	}
	if v := f.in[inDew].value(); v == v {
		s[Damp] = mark{off: v, z: clip(max(-1, (6-v)/1.2))}
	}
	if v := f.in[inCharcoal].value(); v == v {
		s[Hopper] = mark{off: v, z: clip(max(0, (0.9-v)/0.15))}
	}
	s[Stuck] = f.stuck(now, l)
	if f.lasted >= settled[Alone] {
		s[Alone] = f.alone(now)
	}
}

func (f *Finder) stuck(now time.Time, l loads) mark {
	suction, drop := &f.in[inSuction], &f.in[inDrop]
	if !suction.have && !drop.have && !suction.bad && !drop.bad {
		return unknown
	}
	if suction.wrong(now) || drop.wrong(now) {
		return mark{off: now.Sub(minTime(suction, drop)).Seconds(), z: 8}
	}
	// The two pressures alone prove nothing against each other: dust moves the one
	// and fines the other.
	beside := middle(l.speed, l.flow)
	d := max(f.events.still[0].stands(now, suction, l.drop, beside), f.events.still[1].stands(now, drop, l.suction, beside))
	if d > 0 {
		return mark{off: d, z: 8}
	}
	return mark{off: 0, z: 0}
}

// minTime is since when the first of two that are bad is bad.
func minTime(a, b *gauge) time.Time {
	if !a.bad || b.bad && b.since.Before(a.since) {
		return b.since
	}
	return a.since
}

// A temperature is off alone when it is by so many degC and for so long: nothing
// in a hearth moves one place as far and leaves the others as they were.
const (
	aloneOff = 90.0
	aloneFor = 3 * time.Minute
)

// alone looks for one temperature that is far off while all others, three of
// them or more, are as usual.
func (f *Finder) alone(now time.Time) mark {
	for _, i := range [...]input{inNear, inFar, inGasOut, inFilterIn, inFilterOut, inReturn} {
		if f.in[i].wrong(now) {
			return mark{off: 8, z: 8}
		}
	}
	s := &f.signs
	worst, off, second, n, which := 0.0, 0.0, 0.0, 0, WallNear
	for _, t := range [...]Sign{WallNear, WallFar, GasOut, ReturnRise} {
		if !s[t].known() {
			continue
		}
		n++
		z := math.Abs(s[t].z)
		if t == ReturnRise {
			second = max(second, z)
		} else if z > worst {
			worst, off, second, which = z, math.Abs(s[t].off), max(second, worst), t
		} else {
			second = max(second, z)
		}
	}
	for _, t := range [...]Sign{Suction, Drop, Throttle} { // they would bear it out
		if s[t].known() {
			second = max(second, math.Abs(s[t].z))
		}
	}
	switch {
	case n < 3:
		return unknown
	case off < aloneOff || second > 1.5 || which == GasOut && f.gasIsReal():
		f.oddFrom = now
	case now.Sub(f.oddFrom) > aloneFor:
		return mark{off: worst, z: clip(worst)}
	}
	return mark{off: 0, z: 0}
}

// gasIsReal reports whether what follows the gas has followed it, or cannot be
// asked: a couple that lies about the gas makes a cooler of the same work look
// better or worse.
func (f *Finder) gasIsReal() bool {
	cooling := f.signs[Cooling]
	air := f.air()
	rise := f.in[inGasOut].value() - air
	seeming := -math.Log(rise / (rise - f.signs[GasOut].off))
	return !cooling.known() || math.Abs(cooling.off) < math.Abs(seeming)/2
}

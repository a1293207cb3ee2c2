package runlog

import (
	"cmp"
	"math"
	"path/filepath"
	"slices"
	"time"
)

// Clock tells wall time from a boot's milliseconds, by anchors of one quality,
// the best that there is. Anchors of another boot are never among them: what
// lies between two boots nobody knows.
//
// The milliseconds run at the rate of true time to within mostSkew, so of two
// anchors that disagree by more one is wrong, and the later one is believed: it
// was taken after the clock was put right. What is left is joined by straight
// lines, which is what a slewed clock does; before the first and after the last
// the milliseconds are counted. So a clock that was put right in the middle of
// a run moves what came before as well, and a later moment never gets an
// earlier time.
type Clock struct {
	anchors []Anchor // by Ms, all of one quality
}

// mostSkew of a boot's milliseconds: the kernel slews by at most 500 ppm, and
// the crystal may be off by as much again.
const mostSkew = 1e-3

// newClock of the anchors of one boot.
func newClock(all []Anchor) Clock {
	best := Unset
	for _, a := range all {
		best = max(best, a.Quality)
	}
	all = slices.DeleteFunc(slices.Clone(all), func(a Anchor) bool { return a.Quality != best })
	slices.SortStableFunc(all, func(a, b Anchor) int { return cmp.Compare(a.Ms, b.Ms) })
	kept := make([]Anchor, 0, len(all))
	for _, a := range slices.Backward(all) { // the last is believed
		if len(kept) > 0 {
			next := kept[len(kept)-1]
			passed := float64(next.Ms - a.Ms)
			if off := float64(next.Wall.Sub(a.Wall).Milliseconds()) - passed; math.Abs(off) > passed*mostSkew {
				continue
			}
			if passed == 0 {
				continue
			}
		}
		kept = append(kept, a)
	}
	slices.Reverse(kept)
	return Clock{kept}
}

// Quality of what Wall tells.
func (c Clock) Quality() Quality {
	if len(c.anchors) == 0 {
		return Unset
	}
	return c.anchors[0].Quality
}

// Wall is the wall time at a moment of the boot, in UTC. Without any anchor it
// is counted from 1970, as by a clock that nobody has set.
func (c Clock) Wall(ms int64) time.Time {
	if len(c.anchors) == 0 {
		return time.UnixMilli(ms).UTC()
	}
	i, exact := slices.BinarySearchFunc(c.anchors, ms, func(a Anchor, ms int64) int { return cmp.Compare(a.Ms, ms) })
	switch {
	case exact:
		return c.anchors[i].Wall
	case i == 0:
		return since(c.anchors[0], ms)
	case i == len(c.anchors):
		return since(c.anchors[i-1], ms)
	}
	a, b := c.anchors[i-1], c.anchors[i]
	drift := float64(b.Wall.Sub(a.Wall) - time.Duration(b.Ms-a.Ms)*time.Millisecond)
	return since(a, ms).Add(time.Duration(drift * (float64(ms-a.Ms) / float64(b.Ms-a.Ms))))
}

func since(a Anchor, ms int64) time.Time {
	return a.Wall.Add(time.Duration(ms-a.Ms) * time.Millisecond)
}

// bootClock is by the anchors of the file and of all files of its boot that lie
// beside it. The files of a boot follow each other, so that it looks no further
// than the first of another boot on either side.
func (f *File) bootClock() Clock {
	all, _ := f.Anchors() // those that cannot be read are none
	if f.meta.Number == 0 {
		return newClock(all) // no file of a directory
	}
	add := func(path string) (more bool) {
		o, err := open(path)
		if err != nil {
			return true // its neighbours may be sound
		}
		defer o.conn.Close()
		if o.meta.Boot != f.meta.Boot {
			return false
		}
		if anchors, err := o.Anchors(); err == nil {
			all = append(all, anchors...)
		}
		return true
	}
	files, _ := numberedFiles(filepath.Dir(f.path)) // without neighbours its own anchors are all there is
	for _, n := range slices.Backward(files) {
		if n.number < f.meta.Number && !add(n.path) {
			break
		}
	}
	for _, n := range files {
		if n.number > f.meta.Number && !add(n.path) {
			break
		}
	}
	return newClock(all)
}

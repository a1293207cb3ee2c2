package report

import (
	"math"
	"unicode/utf8"
)

// box is a place on the narrowest field, px.
type box struct{ x0, x1, y0, y1 float64 }

// labels writes all text upon a field.
func (p *page) labels(c *chart, h, foot float64) {
	for _, t := range c.y.ticks {
		class := "yt"
		if c.y.share(t.at) < 0.04 { // clear of the first number below
			class = "yt low"
		}
		p.rawf(`<i class="%s" style="top:%.1fpx">%s</i>`, class, h*(1-c.y.share(t.at)), t.text)
	}
	for _, t := range c.x.ticks {
		p.rawf(`<i class="xl" style="left:%.2f%%">%s</i>`, 100*c.x.share(t.at), t.text)
	}
	var taken []box
	for _, b := range c.bands {
		from, to := c.x.share(max(float64(b.from), c.x.from)), c.x.share(min(float64(b.to), c.x.to))
		name := b.name
		if name == "" {
			name = "phase not known"
		}
		if w := perChar * float64(len(name)); (to-from)*narrow >= w-4 {
			mid := (from + to) / 2
			p.rawf(`<i class="pn" style="left:%.2f%%">`, 100*mid).text(name).raw("</i>")
			taken = append(taken, box{mid*narrow - w/2, mid*narrow + w/2, 0, topRoom})
		}
	}
	taken = append(taken, box{0, narrow, foot, h})
	taken = p.limitNames(c, h, taken)
	for i := range c.curves {
		if len(c.curves) < 2 {
			break
		}
		if b, ok := c.spot(i, h, taken); ok {
			p.rawf(`<i class="cn k%d" style="left:%.2f%%;top:%.1fpx">`, c.curves[i].style, 100*b.x0/narrow, b.y0).text(c.curves[i].name).raw("</i>")
			taken = append(taken, b)
		}
	}
	p.badges(c)
}

// limitNames stand above their lines, at the right, side by side where the lines
// are close.
func (p *page) limitNames(c *chart, h float64, taken []box) []box {
	for _, l := range c.limits {
		text := l.name + " " + fixed(l.at, digitsOf(l.at))
		w, y := perChar*float64(len(text)), h*(1-c.y.share(l.at))
		b := box{y0: y - lineHigh, y1: y}
		if b.y0 < 0 {
			b.y0, b.y1 = y, y+lineHigh
		}
		best, found := b, 0 // 1: on a curve, 2: clear of them
		for right := 2.; right+w < narrow && found < 2; right += 8 {
			b.x0, b.x1 = narrow-right-w, narrow-right
			switch {
			case b.hits(taken):
			case !c.crosses(b, h):
				best, found = b, 2
			case found == 0:
				best, found = b, 1
			}
		}
		if found > 0 {
			p.rawf(`<i class="ln" style="right:%.2f%%;top:%.1fpx">`, 100*(narrow-best.x1)/narrow, best.y0).text(text).raw("</i>")
			taken = append(taken, best)
		}
	}
	return taken
}

// crosses says that a curve goes through b.
func (c *chart) crosses(b box, h float64) bool {
	for i := range c.curves {
		if top, bottom, any := c.curves[i].between(c, b.x0, b.x1, h); any && top < b.y1+2 && bottom > b.y0-2 {
			return true
		}
	}
	return false
}

func (b box) hits(taken []box) bool {
	for _, t := range taken {
		if b.x0 < t.x1+3 && b.x1 > t.x0-3 && b.y0 < t.y1-1 && b.y1 > t.y0+1 {
			return true
		}
	}
	return false
}

// spot is where a curve's name has most room: beside the curve, and away from
// the others.
func (c *chart) spot(i int, h float64, taken []box) (best box, ok bool) {
	w := perChar*float64(len(c.curves[i].name)) + 4
	score := 2.
	for x0 := 4.; x0+w < narrow-4; x0 += 6 {
		lo, hi, any := c.curves[i].between(c, x0, x0+w, h)
		if !any {
			continue
		}
		for _, top := range []float64{lo - lineHigh - 3, hi + 3} {
			b := box{x0, x0 + w, top, top + lineHigh}
			if b.y0 < topRoom || b.y1 > h-2 || b.hits(taken) {
				continue
			}
			room := 18.
			for j := range c.curves {
				if j == i {
					continue
				}
				if a, z, any := c.curves[j].between(c, x0, x0+w, h); any {
					room = min(room, max(a-b.y1, b.y0-z))
				}
			}
			for _, l := range c.limits {
				if y := h * (1 - c.y.share(l.at)); y > b.y0 && y < b.y1 {
					room = min(room, 3)
				}
			}
			if room -= 0.3 * (hi - lo); room > score {
				best, score, ok = b, room, true
			}
		}
	}
	return best, ok
}

// between is the extent of a curve in px from the top, from x0 to x1 px.
func (cv *curve) between(c *chart, x0, x1, h float64) (top, bottom float64, any bool) {
	top, bottom = math.Inf(1), math.Inf(-1)
	for i := range cv.cols {
		col := &cv.cols[i]
		if x := narrow * c.x.share(col.x); x < x0-2 || x > x1+2 {
			continue
		}
		top, bottom, any = min(top, h*(1-c.y.share(col.hi))), max(bottom, h*(1-c.y.share(col.lo))), true
	}
	return top, bottom, any
}

// badges are the numbers of the alarms above the field, those that are close in
// one.
func (p *page) badges(c *chart) {
	type badge struct {
		at, half    float64 // px
		first, last string
		n           int
	}
	text := func(b *badge) string {
		switch b.n {
		case 1:
			return b.first
		case 2:
			return b.first + "," + b.last
		}
		return b.first + "–" + b.last
	}
	var all []badge
	for _, m := range c.alarms {
		b := badge{at: narrow * c.x.share(m.at), first: m.text, last: m.text, n: 1}
		for {
			b.half = (perChar*float64(utf8.RuneCountInString(text(&b))) + 9) / 2
			b.at = max(b.half, min(b.at, narrow-b.half+8)) // none hangs over the edge
			if len(all) == 0 || b.at-b.half > all[len(all)-1].at+all[len(all)-1].half {
				break
			}
			was := all[len(all)-1]
			all = all[:len(all)-1]
			b.at, b.first, b.n = was.at, was.first, b.n+was.n
		}
		all = append(all, b)
	}
	for i := range all {
		p.rawf(`<i class="an" style="left:%.2f%%">`, 100*all[i].at/narrow).text(text(&all[i])).raw("</i>")
	}
}

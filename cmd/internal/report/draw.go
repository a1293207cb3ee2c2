package report

import (
	"fmt"
	"strings"
)

// A picture is an SVG that is stretched to the width of the screen, with lines
// that keep their weight, and HTML text upon it that keeps its size: so that it
// reads the same at 360 px, on a desk and on paper. Places are laid out for the
// narrowest screen; on a wider one there is only more room.
const (
	wide     = 1000. // of the SVG's own units
	narrow   = 276.  // px of a field on a phone of 360 px
	perChar  = 6.3   // px of a letter of a label
	lineHigh = 13.   // px of a label
	topRoom  = 14.   // px at the top of a field where the phases' names are
)

// draw writes a picture.
func (p *page) draw(c *chart) {
	h := 176.
	switch {
	case c.tall:
		h = 232
	case c.small:
		h = 96
	}
	class := "plot"
	if c.tall {
		class = "plot wide"
	}
	p.rawf(`<figure class="%s"><figcaption><b>`, class).text(c.title).raw(`</b>`)
	if c.unit != "" {
		p.raw(` <span class="unit">in `).text(c.unit).raw(`</span>`)
	}
	p.raw("</figcaption>")
	p.legend(c)
	p.rawf(`<div class="field" style="height:%.0fpx"><svg viewBox="0 0 %.0f %.0f" preserveAspectRatio="none" role="img" aria-label="`, h, wide, h).text(c.title).raw(`">`)
	y := func(v float64) float64 { return h * (1 - c.y.share(v)) }
	x := func(v float64) float64 { return wide * max(0, min(1, c.x.share(v))) }
	for _, b := range c.bands {
		if float64(b.to) > c.x.from && float64(b.from) < c.x.to {
			p.rawf(`<rect class="ph %s" x="%.1f" y="0" width="%.1f" height="%.0f"/>`, tint(b.name), x(float64(b.from)), x(float64(b.to))-x(float64(b.from)), h)
		}
	}
	for _, l := range c.limits {
		top, high := 0., y(l.at)
		if l.below {
			top, high = y(l.at), h-y(l.at)
		}
		p.rawf(`<rect class="over" x="0" y="%.1f" width="%.0f" height="%.1f"/>`, top, wide, max(0, high))
	}
	for _, t := range c.y.ticks {
		p.rawf(`<path class="grid" d="M0 %.1fH%.0f"/>`, y(t.at), wide)
	}
	for _, t := range c.x.ticks {
		p.rawf(`<path class="grid" d="M%.1f 0V%.0f"/>`, x(t.at), h)
	}
	for _, s := range c.holes {
		if a, b := x(float64(s.from)), x(float64(s.to)); b > a {
			p.rawf(`<rect class="hole" x="%.1f" y="0" width="%.1f" height="%.0f"/>`, a, max(b-a, 1.5), h)
		}
	}
	for _, l := range c.limits {
		p.rawf(`<path class="lim %s" d="M0 %.1fH%.0f"/>`, classOf(l.priority), y(l.at), wide)
	}
	for i := range c.curves {
		p.curve(&c.curves[i], x, y)
	}
	foot := h
	for i := range c.curves {
		if len(c.curves[i].ills) > 0 {
			foot -= 7
		}
		for _, s := range c.curves[i].ills {
			a, b := x(float64(s.from)), x(float64(s.to))
			p.rawf(`<rect class="ill" x="%.1f" y="%.0f" width="%.1f" height="5"/>`, a, foot, max(b-a, 3))
		}
	}
	for _, m := range c.alarms {
		p.rawf(`<path class="al" d="M%.1f 0V%.0f"/>`, x(m.at), h)
	}
	p.raw("</svg>")
	p.labels(c, h, foot)
	p.raw("</div>")
	if c.x.title != "" {
		p.raw(`<div class="xt">`).text(c.x.title).raw("</div>")
	}
	c.illness()
	if c.note != "" {
		p.raw(`<p class="note">`).text(c.note).raw("</p>")
	}
	p.raw("</figure>\n")
}

// tint of a phase: white while the rig runs, and two that follow each other are
// never the same.
func tint(phase string) string {
	switch phase {
	case "running":
		return "none"
	case "warming", "sealed":
		return "pale"
	}
	return ""
}

// classOf a priority in the style sheet.
func classOf(priority string) string { return ranks[rankOf(priority)] }

// illness says in the note what the bars at the foot are.
func (c *chart) illness() {
	var all []string
	for i := range c.curves {
		cv := &c.curves[i]
		kinds := map[string]int64{}
		var order []string
		for _, s := range cv.ills {
			if _, known := kinds[s.name]; !known {
				order = append(order, s.name)
			}
			kinds[s.name] += s.to - s.from
		}
		for _, k := range order {
			all = append(all, cv.name+" "+plain(k)+" "+span(kinds[k]))
		}
	}
	if all != nil {
		c.say("Black bars at the foot: no good reading (" + strings.Join(all, "; ") + ").")
	}
}

// legend names the curves with a piece of their line.
func (p *page) legend(c *chart) {
	if len(c.curves) < 2 {
		return
	}
	p.raw(`<div class="legend">`)
	for i := range c.curves {
		p.rawf(`<span><svg width="36" height="10" aria-hidden="true"><path class="c c%d" d="M2 5H34"/></svg>`, c.curves[i].style).text(c.curves[i].name).raw("</span> ")
	}
	p.raw("</div>")
}

// curve draws what a channel moved between, and its mean.
func (p *page) curve(c *curve, x, y func(float64) float64) {
	var line strings.Builder
	start := 0
	for i, col := range c.cols {
		if i == 0 || col.cut {
			fmt.Fprintf(&line, "M%s %s", short(x(col.x)), short(y(col.mid)))
			if i+1 == len(c.cols) || c.cols[i+1].cut {
				line.WriteString("h0") // a single one is a dot
			}
		} else {
			fmt.Fprintf(&line, "L%s %s", short(x(col.x)), short(y(col.mid)))
		}
		if i+1 == len(c.cols) || c.cols[i+1].cut {
			p.spread(c, c.cols[start:i+1], x, y)
			start = i + 1
		}
	}
	p.rawf(`<path class="c c%d" d="%s"/>`, c.style, line.String())
	for _, ms := range c.fulls {
		p.rawf(`<path class="full" d="M%s %sh0"/>`, short(x(ms)), short(y(*c.full)))
	}
}

// spread is the area between the least and the most of joined columns, where
// that is more than the line is thick.
func (p *page) spread(c *curve, cols []column, x, y func(float64) float64) {
	for from := 0; from < len(cols); {
		if y(cols[from].lo)-y(cols[from].hi) < 1.2 {
			from++
			continue
		}
		to := from + 1
		for to < len(cols) && y(cols[to].lo)-y(cols[to].hi) >= 1.2 {
			to++
		}
		var b strings.Builder
		part := cols[max(0, from-1):min(len(cols), to+1)]
		for i, col := range part {
			fmt.Fprintf(&b, "%c%s %s", "ML"[min(i, 1)], short(x(col.x)), short(y(col.hi)))
		}
		for i := len(part) - 1; i >= 0; i-- {
			fmt.Fprintf(&b, "L%s %s", short(x(part[i].x)), short(y(part[i].lo)))
		}
		p.rawf(`<path class="b b%d" d="%sz"/>`, c.style, b.String())
		from = to
	}
}

// short is a coordinate with one digit behind the point, if that is not 0.
func short(v float64) string {
	return strings.TrimSuffix(fmt.Sprintf("%.1f", v), ".0")
}

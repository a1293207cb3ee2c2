package main

import (
	"image/color"
	"math"
	"strconv"

	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
)

// mark is the shape of a point.
type mark uint8

const (
	disc mark = iota
	square
	triangle
	diamond
)

// scale is an axis: its ends and what is written on it.
type scale struct {
	from, to, step float64
}

// newScale covers what curves show in about so many steps, from 0 if that is
// not far; tight ends at the numbers themselves.
func newScale(curves []series, steps int, tight bool) scale {
	lo, hi := extent(curves...)
	if !(lo <= hi) {
		lo, hi = 0, 1
	}
	if !tight {
		if lo > 0 && lo < 0.3*hi {
			lo = 0
		}
		if hi < 0 && hi > 0.3*lo {
			hi = 0
		}
		// A line that hardly moves is not blown up to a mountain.
		if least := 0.02 * max(math.Abs(lo), math.Abs(hi)); hi-lo < least {
			lo, hi = (lo+hi-least)/2, (lo+hi+least)/2
		}
	}
	if lo == hi {
		lo, hi = lo-1, hi+1
	}
	s := scale{from: lo, to: hi, step: roundStep((hi - lo) / float64(steps))}
	if !tight {
		s.from, s.to = math.Floor(lo/s.step+1e-9)*s.step, math.Ceil(hi/s.step-1e-9)*s.step
	}
	return s
}

// extent is the least and the most of curves; the least is above the most if
// there is none.
func extent(curves ...series) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, c := range curves {
		for _, v := range c.y {
			if finite(v) {
				lo, hi = min(lo, v), max(hi, v)
			}
		}
	}
	return lo, hi
}

// roundStep is the next of 1, 2, 5 with any power of ten.
func roundStep(v float64) float64 {
	p := math.Pow(10, math.Floor(math.Log10(v)))
	for _, m := range []float64{1, 2, 5} {
		if m*p >= v*(1-1e-9) {
			return m * p
		}
	}
	return 10 * p
}

// ticks are the round numbers of the axis, and how they are written.
func (s *scale) ticks() (at []float64, text []string) {
	digits := max(0, -int(math.Floor(math.Log10(s.step)+1e-9)))
	first := math.Ceil(s.from/s.step - 1e-9)
	for i := first; i*s.step <= s.to+1e-9*s.step; i++ {
		v := i * s.step
		at = append(at, v)
		if math.Abs(v) >= 1e6 || digits > 6 {
			text = append(text, strconv.FormatFloat(v, 'g', 4, 64))
		} else {
			text = append(text, strconv.FormatFloat(v+0, 'f', digits, 64))
		}
	}
	return at, text
}

// place is where v lies between a and b.
func (s *scale) place(v float64, a, b vg.Length) vg.Length {
	return a + (b-a)*vg.Length((v-s.from)/(s.to-s.from))
}

// paint draws the page.
func (p *page) paint(c vg.Canvas) {
	vg.Initialize(c)
	y := p.height - marginTop
	for _, l := range p.title {
		y -= 15
		write(c, &p.faces.title, ink, marginRight, y, 0, l)
		y -= 4
	}
	for _, l := range p.under {
		y -= 11
		write(c, &p.faces.text, faint, marginRight, y, 0, l)
		y -= 3
	}
	for i := range p.fields {
		p.paintField(c, &p.fields[i], i == len(p.fields)-1)
	}
}

func (p *page) paintField(c vg.Canvas, f *field, last bool) {
	y := p.height - f.top - 13
	write(c, &p.faces.head, ink, marginRight, y, 0, f.panel.title+": "+f.panel.unit)
	for _, line := range f.legend {
		y -= legendLine
		x := marginLeft
		for _, i := range line {
			middle := y + 3.5
			cv := &f.panel.curves[i]
			if !cv.dots {
				stroke(c, i, []vg.Point{{X: x, Y: middle}, {X: x + legendMark, Y: middle}})
			}
			if f.markers || cv.dots {
				dot(c, i, vg.Point{X: x + legendMark/2, Y: middle})
			}
			write(c, &p.faces.text, ink, x+legendMark+6, y, 0, cv.name)
			x += legendMark + 6 + p.faces.text.Width(cv.name) + legendGap
		}
	}
	p.paintGrid(c, f)
	for i, cv := range f.panel.curves {
		var run []vg.Point
		for j, v := range cv.y {
			if !finite(v) {
				cv.line(c, i, run)
				run = nil
				continue
			}
			run = append(run, vg.Point{
				X: f.x.place(p.chart.x[j], f.frame.Min.X, f.frame.Max.X),
				Y: f.y.place(v, f.frame.Min.Y, f.frame.Max.Y),
			})
			if f.markers || cv.dots {
				dot(c, i, run[len(run)-1])
			}
		}
		cv.line(c, i, run)
	}
	if last {
		write(c, &p.faces.head, ink, (f.frame.Min.X+f.frame.Max.X)/2, f.frame.Min.Y-32, 0.5, p.chart.axis)
	}
}

// line draws what is between two gaps.
func (s *series) line(c vg.Canvas, i int, run []vg.Point) {
	if !s.dots {
		stroke(c, i, run)
	}
}

func (p *page) paintGrid(c vg.Canvas, f *field) {
	r := f.frame
	c.SetLineDash(nil, 0)
	c.SetLineWidth(0.7)
	line := func(colour color.Color, a, b vg.Point) {
		c.SetColor(colour)
		var path vg.Path
		path.Move(a)
		path.Line(b)
		c.Stroke(path)
	}
	at, text := f.x.ticks()
	for i, v := range at {
		x := f.x.place(v, r.Min.X, r.Max.X)
		line(grid, vg.Point{X: x, Y: r.Min.Y}, vg.Point{X: x, Y: r.Max.Y})
		line(ink, vg.Point{X: x, Y: r.Min.Y}, vg.Point{X: x, Y: r.Min.Y - 4})
		write(c, &p.faces.text, ink, x, r.Min.Y-15, 0.5, text[i])
	}
	at, text = f.y.ticks()
	for i, v := range at {
		y := f.y.place(v, r.Min.Y, r.Max.Y)
		line(grid, vg.Point{X: r.Min.X, Y: y}, vg.Point{X: r.Max.X, Y: y})
		line(ink, vg.Point{X: r.Min.X - 4, Y: y}, vg.Point{X: r.Min.X, Y: y})
		write(c, &p.faces.text, ink, r.Min.X-7, y-3.6, 1, text[i])
	}
	line(ink, r.Min, vg.Point{X: r.Max.X, Y: r.Min.Y})
	line(ink, r.Min, vg.Point{X: r.Min.X, Y: r.Max.Y})
}

// write puts a text at x with so much of its width to the left of it.
func write(c vg.Canvas, f *font.Face, colour color.Color, x, y, left vg.Length, text string) {
	c.SetColor(colour)
	c.FillString(*f, vg.Point{X: x - left*f.Width(text), Y: y}, text)
}

// stroke draws the i-th curve.
func stroke(c vg.Canvas, i int, points []vg.Point) {
	if len(points) < 2 {
		return
	}
	s := &styles[i%len(styles)]
	c.SetColor(s.colour)
	c.SetLineWidth(1.8)
	c.SetLineDash(s.dash, 0)
	var path vg.Path
	path.Move(points[0])
	for _, q := range points[1:] {
		path.Line(q)
	}
	c.Stroke(path)
	c.SetLineDash(nil, 0)
}

// dot draws a point of the i-th curve.
func dot(c vg.Canvas, i int, at vg.Point) {
	s := &styles[i%len(styles)]
	c.SetColor(s.colour)
	c.Fill(s.mark.path(at))
}

func (m mark) path(at vg.Point) vg.Path {
	const r vg.Length = 3
	var p vg.Path
	corner := func(dx, dy vg.Length) {
		if q := at.Add(vg.Point{X: dx, Y: dy}); p == nil {
			p.Move(q)
		} else {
			p.Line(q)
		}
	}
	switch m {
	case disc:
		p.Move(at.Add(vg.Point{X: r}))
		p.Arc(at, r, 0, 2*math.Pi)
	case square:
		corner(-r, -r)
		corner(r, -r)
		corner(r, r)
		corner(-r, r)
	case triangle:
		corner(-1.15*r, -r)
		corner(1.15*r, -r)
		corner(0, 1.2*r)
	case diamond:
		corner(0, -1.4*r)
		corner(1.4*r, 0)
		corner(0, 1.4*r)
		corner(-1.4*r, 0)
	}
	p.Close()
	return p
}

package main

import (
	"image/color"
	"slices"
	"strings"

	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
)

// Measures of a figure, in points.
const (
	pageWidth   vg.Length = 640
	marginLeft  vg.Length = 62
	marginRight vg.Length = 24
	marginTop   vg.Length = 16
	plotHeight  vg.Length = 150 // of a panel's field
	legendLine  vg.Length = 17
	legendMark  vg.Length = 34 // the piece of line before a name
	legendGap   vg.Length = 18 // between one name and the next mark
)

// Colours that people who confuse red and green can tell by their lightness;
// dashes and markers say the same again.
var (
	paper  = color.RGBA{255, 255, 255, 255}
	ink    = color.RGBA{34, 34, 34, 255}
	faint  = color.RGBA{96, 96, 96, 255}
	grid   = color.RGBA{222, 222, 222, 255}
	styles = []struct {
		colour color.RGBA
		dash   []vg.Length
		mark   mark
	}{
		{color.RGBA{22, 66, 120, 255}, nil, disc},
		{color.RGBA{222, 122, 16, 255}, []vg.Length{9, 4}, square},
		{color.RGBA{40, 150, 165, 255}, []vg.Length{2.5, 3}, triangle},
		{color.RGBA{150, 40, 100, 255}, []vg.Length{10, 3, 2.5, 3}, diamond},
		{color.RGBA{110, 110, 110, 255}, []vg.Length{5, 2.5}, disc},
		{color.RGBA{70, 120, 40, 255}, []vg.Length{14, 4}, square},
	}
)

// faces is one font in the sizes of a figure.
type faces struct{ title, head, text font.Face }

func newFaces() (faces, error) {
	f, err := opentype.Parse(goregular.TTF)
	if err != nil {
		return faces{}, err
	}
	size := func(pt vg.Length) font.Face {
		return font.Face{Font: font.Font{Typeface: "Go", Size: pt}, Face: f}
	}
	return faces{size(15), size(12), size(10.5)}, nil
}

// page is a chart with a place for all that is on it. y grows upwards.
type page struct {
	chart  *chart
	faces  faces
	title  []string // lines
	under  []string
	height vg.Length
	fields []field
}

// field is where a panel's curves are.
type field struct {
	panel   *chartPanel
	top     vg.Length // of the panel's head, from the page's top
	legend  [][]int   // curves by line
	frame   vg.Rectangle
	x, y    scale
	markers bool
}

// layout places everything, from the top down; legends stand above the field,
// where no curve is.
func layout(c *chart, f faces) *page {
	p := &page{chart: c, faces: f}
	wide := pageWidth - 2*marginRight
	p.title, p.under = fold(&f.title, c.title, wide), fold(&f.text, c.under, wide)
	down := marginTop + vg.Length(len(p.title))*19 + vg.Length(len(p.under))*14 + 8
	xs := newScale([]series{{y: c.x}}, 8, true)
	for i := range c.panels {
		fd := field{panel: &c.panels[i], top: down, x: xs, y: newScale(c.panels[i].curves, 5, false)}
		measured := slices.ContainsFunc(fd.panel.curves, func(s series) bool { return s.dots })
		fd.markers = len(c.x) <= 26 && !measured // points of a line would pass for measured ones
		fd.legend = legendLines(&f.text, fd.panel)
		down += 20 + vg.Length(len(fd.legend))*legendLine + 4
		fd.frame.Min = vg.Point{X: marginLeft, Y: down + plotHeight}
		fd.frame.Max = vg.Point{X: pageWidth - marginRight, Y: down}
		down += plotHeight + 30
		p.fields = append(p.fields, fd)
	}
	p.height = down + 16
	for i := range p.fields { // from the page's top to its bottom
		r := &p.fields[i].frame
		r.Min.Y, r.Max.Y = p.height-r.Min.Y, p.height-r.Max.Y
	}
	return p
}

// fold breaks a text into lines that are not wider.
func fold(f *font.Face, text string, wide vg.Length) []string {
	var lines []string
	for _, word := range strings.Fields(text) {
		if n := len(lines); n > 0 && f.Width(lines[n-1]+" "+word) <= wide {
			lines[n-1] += " " + word
		} else {
			lines = append(lines, word)
		}
	}
	return lines
}

// legendLines breaks a legend into lines; one curve whose name the panel bears
// needs none.
func legendLines(f *font.Face, p *chartPanel) [][]int {
	curves := p.curves
	if len(curves) == 1 && strings.EqualFold(curves[0].name, p.title) {
		return nil
	}
	lines := [][]int{nil}
	at := vg.Length(0)
	for i, c := range curves {
		need := legendMark + 6 + f.Width(c.name) + legendGap
		if at > 0 && at+need-legendGap > pageWidth-marginLeft-marginRight {
			lines, at = append(lines, nil), 0
		}
		last := len(lines) - 1
		lines[last] = append(lines[last], i)
		at += need
	}
	return lines
}

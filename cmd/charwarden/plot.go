package main

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/vgimg"
	"gonum.org/v1/plot/vg/vgsvg"
)

// panel is one part of a sheet's figure: numbers of an answer that share a unit.
type panel struct {
	title, unit string
	traces      []trace
}

// trace is a number of an answer by its key, times a factor into the panel's unit.
type trace struct {
	key   string
	times float64
}

// chart is a figure: panels one above the other over the same axis.
type chart struct {
	title, under string // under: what it holds for, smaller
	axis         string // with its unit
	x            []float64
	panels       []chartPanel
}

type chartPanel struct {
	title, unit string
	curves      []series
}

// series has a y for each x of its chart; NaN is a gap.
type series struct {
	name string
	y    []float64
	dots bool // measured: no line
}

// alongPoints is how many points a figure without a sweep has.
const alongPoints = 121

// figureName refuses a name by which a figure's format is not known.
func figureName(file string) error {
	switch strings.ToLower(filepath.Ext(file)) {
	case ".svg", ".png":
		return nil
	}
	if file == "" {
		return nil
	}
	return &flagError{"plot", file + ": the name must end in .svg or .png"}
}

// along is the figure over a flag between two values in the base unit, as far
// as the flag goes.
func (s *sheet) along(set *settings, flag string, from, to float64) (*chart, error) {
	k := s.knob(flag)
	p := span{k, max(from, k.low), min(to, k.high), alongPoints}
	rows, _, err := s.rows(set, p)
	if err != nil {
		return nil, err
	}
	return s.figure(set, p, rows), nil
}

// held says what a figure holds for.
func (s *sheet) held(set *settings, but string) string {
	var held []string
	for _, k := range s.knobs {
		if !set.given[k.flag] || !set.has(k.flag) || k.flag == but {
			continue
		}
		value := set.word[k.flag]
		if k.in != nil {
			value = asPrinted(k.in.text(set.of(k.flag)))
		}
		held = append(held, k.name+" "+value)
	}
	if held == nil {
		return "All at its default."
	}
	return "With " + strings.Join(held, ", ") + "; all else at its default."
}

// figure makes the chart of a sweep.
func (s *sheet) figure(set *settings, p span, rows []cells) *chart {
	c := &chart{
		title: s.heading + " over " + p.knob.name,
		under: s.held(set, p.knob.flag), axis: p.knob.name + p.knob.in.suffix(),
	}
	for i := range rows {
		c.x = append(c.x, p.knob.in.plain(p.at(i)))
	}
	for _, want := range s.panels {
		got := chartPanel{title: want.title, unit: asPrinted(want.unit)}
		for _, t := range want.traces {
			if t.key == p.knob.key {
				continue // the axis itself
			}
			name, y := "", make([]float64, len(rows))
			for i, r := range rows {
				cell := r.find(t.key)
				name, y[i] = cell.name, cell.value*t.times
			}
			if !slices.ContainsFunc(y, finite) || slices.ContainsFunc(got.curves, func(c series) bool { return slices.Equal(c.y, y) }) {
				continue // not asked for, or under another
			}
			got.curves = append(got.curves, series{name: name, y: y})
		}
		if got.curves != nil {
			c.panels = append(c.panels, got)
		}
	}
	// What does not move says nothing, unless nothing does.
	if slices.ContainsFunc(c.panels, chartPanel.moves) {
		c.panels = slices.DeleteFunc(c.panels, func(p chartPanel) bool { return !p.moves() })
	}
	return c
}

// moves says that a curve is not flat.
func (p chartPanel) moves() bool {
	return slices.ContainsFunc(p.curves, func(c series) bool {
		lo, hi := extent(c)
		return hi-lo > 1e-6*max(math.Abs(lo), math.Abs(hi))
	})
}

// measured adds points to a panel, at places of their own on the axis. The
// curves, which are smooth, go on across them.
func (c *chart) measured(panel int, name string, x, y []float64) {
	lo, hi := c.x[0], c.x[len(c.x)-1]
	points := series{name: name, dots: true, y: slices.Repeat([]float64{math.NaN()}, len(c.x))}
	for i, v := range x {
		if v < lo || v > hi {
			continue
		}
		at, found := slices.BinarySearch(c.x, v)
		if found {
			points.y[at] = y[i]
			continue
		}
		// at is between two points of the curves.
		share := (v - c.x[at-1]) / (c.x[at] - c.x[at-1])
		for j := range c.panels {
			for k := range c.panels[j].curves {
				s := &c.panels[j].curves[k]
				s.y = slices.Insert(s.y, at, s.y[at-1]+share*(s.y[at]-s.y[at-1]))
			}
		}
		c.x = slices.Insert(c.x, at, v)
		points.y = slices.Insert(points.y, at, y[i])
	}
	c.panels[panel].curves = append(c.panels[panel].curves, points)
}

// asPrinted is a unit as print has it.
func asPrinted(unit string) string {
	return strings.NewReplacer("degC", "°C", "Nm3", "Nm³", "m2", "m²", "/m3", "/m³").Replace(unit)
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// write draws the chart into a file of that name: all of it, or the old one stays.
func (c *chart) write(file string) error {
	var out bytes.Buffer
	if err := c.draw(strings.ToLower(filepath.Ext(file)), &out); err != nil {
		return fmt.Errorf("plot: %s: %w", file, err)
	}
	tmp, err := os.CreateTemp(filepath.Dir(file), ".plot-*")
	if err != nil {
		return fmt.Errorf("plot: %w", err)
	}
	defer os.Remove(tmp.Name()) // gone already if it was renamed
	_, err = tmp.Write(out.Bytes())
	if e := tmp.Chmod(0o644); err == nil {
		err = e
	}
	if e := tmp.Close(); err == nil {
		err = e
	}
	if err == nil {
		err = os.Rename(tmp.Name(), file)
	}
	if err != nil {
		return fmt.Errorf("plot: %w", err)
	}
	return nil
}

// dpi of a PNG.
const dpi = 144

// draw writes the chart in the format of a file's extension.
func (c *chart) draw(ext string, w io.Writer) error {
	faces, err := newFaces()
	if err != nil {
		return err
	}
	p := layout(c, faces)
	if ext == ".png" {
		img := vgimg.NewWith(vgimg.UseWH(pageWidth, p.height), vgimg.UseDPI(dpi))
		p.paint(img)
		_, err := vgimg.PngCanvas{Canvas: img}.WriteTo(w)
		return err
	}
	svg := vgsvg.New(pageWidth, p.height)
	svg.SetColor(paper)
	svg.Fill(vg.Rectangle{Max: vg.Point{X: pageWidth, Y: p.height}}.Path())
	p.paint(svg)
	var b bytes.Buffer
	if _, err := svg.WriteTo(&b); err != nil {
		return err
	}
	// The font is not in the file: where it is not installed, one like it.
	_, err = io.WriteString(w, strings.ReplaceAll(b.String(), "font-family:Go;", "font-family:Go,Helvetica,Arial,sans-serif;"))
	return err
}

package main

import (
	"bytes"
	"encoding/xml"
	"errors"
	"image/png"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"gonum.org/v1/plot/vg"
)

// A figure is a picture or a document that parses, with its words in it, and
// an old file is replaced by it.
func TestCalcFigure(t *testing.T) {
	dir := t.TempDir()
	pic, doc := filepath.Join(dir, "a.PNG"), filepath.Join(dir, "a.svg")
	if err := os.WriteFile(doc, []byte("old"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, file := range []string{pic, doc} {
		reckonRows(t, "hearth", "--sweep", "return=0..0.3/7", "--moisture", "8%", "--plot", file)
	}
	b, err := os.ReadFile(pic)
	if err != nil {
		t.Fatal(err)
	}
	img, err := png.Decode(bytes.NewReader(b))
	if err != nil {
		t.Fatal(err)
	}
	if s := img.Bounds().Size(); s.X != int(pageWidth)*dpi/72 || s.Y < s.X {
		t.Errorf("size %v", s)
	}
	colours := map[[3]uint32]int{}
	for y := range img.Bounds().Dy() {
		for x := range img.Bounds().Dx() {
			r, g, b, _ := img.At(x, y).RGBA()
			colours[[3]uint32{r >> 8, g >> 8, b >> 8}]++
		}
	}
	for i, s := range styles[:4] { // CO, H2, CO2, H2O
		if n := colours[[3]uint32{uint32(s.colour.R), uint32(s.colour.G), uint32(s.colour.B)}]; n < 200 {
			t.Errorf("curve %d: %d pixels", i, n)
		}
	}
	if b, err = os.ReadFile(doc); err != nil {
		t.Fatal(err)
	}
	words := svgText(t, b)
	for _, w := range []string{"Charcoal gas over exhaust in the blast", "exhaust in the blast, fraction", "With charcoal's moisture 0.08; all else at its default.",
		"CO", "H2", "bed's exit", "Temperatures: °C", "0.30", "2000"} {
		if !strings.Contains(words, "|"+w+"|") {
			t.Errorf("the figure does not say %q", w)
		}
	}
	if left, _ := filepath.Glob(filepath.Join(dir, ".*")); left != nil {
		t.Errorf("left behind: %v", left)
	}
}

// svgText returns the texts of an SVG between bars.
func svgText(t *testing.T, b []byte) string {
	t.Helper()
	var words strings.Builder
	words.WriteByte('|')
	d := xml.NewDecoder(bytes.NewReader(b))
	in := false
	for {
		tok, err := d.Token()
		if errors.Is(err, io.EOF) {
			return words.String()
		}
		if err != nil {
			t.Fatalf("svg: %v", err)
		}
		switch tok := tok.(type) {
		case xml.StartElement:
			in = tok.Name.Local == "text"
		case xml.CharData:
			if in {
				words.Write(tok)
				words.WriteByte('|')
			}
		case xml.EndElement:
			in = false
		}
	}
}

// Nothing of a figure lies on anything else: heads, legends and fields stand
// one below the other inside the page, and a legend is folded before its edge.
func TestPageLayout(t *testing.T) {
	f, err := newFaces()
	if err != nil {
		t.Fatal(err)
	}
	var many []series
	for range 9 {
		many = append(many, series{name: "a name of some length", y: []float64{1, 2}})
	}
	c := &chart{title: strings.Repeat("title ", 30), under: strings.Repeat("under ", 60), axis: "x", x: []float64{0, 1},
		panels: []chartPanel{{"one", "m", many[:1]}, {"many", "m", many}, {"last", "m", many[:3]}}}
	p := layout(c, f)
	above := p.height - marginTop - 19*vg.Length(len(p.title)) - 14*vg.Length(len(p.under))
	if len(p.title) < 2 || len(p.under) < 2 {
		t.Errorf("title of %d and text of %d lines: not folded", len(p.title), len(p.under))
	}
	for i, fd := range p.fields {
		head := p.height - fd.top
		if head > above {
			t.Errorf("panel %d begins at %.0f, above the end of what is before it at %.0f", i, head, above)
		}
		if legend := head - 13 - legendLine*vg.Length(len(fd.legend)); legend-2 < fd.frame.Max.Y {
			t.Errorf("panel %d: its legend ends at %.0f, its field begins at %.0f", i, legend, fd.frame.Max.Y)
		}
		for _, line := range fd.legend {
			x := marginLeft
			for _, j := range line {
				x += legendMark + 6 + f.text.Width(fd.panel.curves[j].name) + legendGap
			}
			if x-legendGap > pageWidth {
				t.Errorf("panel %d: a legend of %.0f points", i, x)
			}
		}
		above = fd.frame.Min.Y - 19 // the numbers of the axis
	}
	if above < 20 {
		t.Errorf("no room for the axis: %.0f points", above)
	}
}

func TestScale(t *testing.T) {
	for _, c := range []struct {
		y     []float64
		tight bool
		want  scale
		first string
		last  string
	}{
		{[]float64{31.7, 0.4}, false, scale{0, 40, 10}, "0", "40"},
		{[]float64{791, 2013}, false, scale{500, 2500, 500}, "500", "2500"},
		{[]float64{-3, math.NaN(), 8}, false, scale{-5, 10, 5}, "-5", "10"},
		{[]float64{0, 0.4}, true, scale{0, 0.4, 0.05}, "0.00", "0.40"},
		{[]float64{0.9, 13.5}, true, scale{0.9, 13.5, 2}, "2", "12"},
		{[]float64{70, 70}, false, scale{69, 71, 0.5}, "69.0", "71.0"},
		{[]float64{0, 0}, false, scale{-1, 1, 0.5}, "-1.0", "1.0"},
	} {
		steps := 5
		if c.tight {
			steps = 8
		}
		got := newScale([]series{{y: c.y}}, steps, c.tight)
		if math.Abs(got.from-c.want.from)+math.Abs(got.to-c.want.to)+math.Abs(got.step-c.want.step) > 1e-9 {
			t.Errorf("%v: %v, want %v", c.y, got, c.want)
		}
		if _, text := got.ticks(); text[0] != c.first || text[len(text)-1] != c.last {
			t.Errorf("%v: from %s to %s, want %s to %s", c.y, text[0], text[len(text)-1], c.first, c.last)
		}
	}
}

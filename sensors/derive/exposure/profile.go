package exposure

import (
	"bufio"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"sort"
	"strconv"
	"strings"
)

// The longest profile, and the most CO that air can hold.
const (
	MaxMinutes = 100_000.0
	MaxPPM     = mostPPM
)

// Point says that from Minute on the air holds PPM.
type Point struct{ Minute, PPM float64 }

// Profile is an exposure, piecewise constant from each point on until End,
// minutes. Before the first point it is 0 ppm; points from End on count nothing.
type Profile struct {
	Points []Point // Minute rises
	End    float64
}

// Constant is one concentration from minute 0 on.
func Constant(ppm, minutes float64) Profile {
	return Profile{Points: []Point{{0, ppm}}, End: minutes}
}

// ParseProfile reads a CSV with a header and the columns minute (0 to 100 000,
// rising) and ppm (0 to 1 000 000); other columns are ignored, and so are lines
// that begin with #. The profile ends with its last row, whose ppm only counts
// if End is moved. Errors read `file:line: column: cause`.
func ParseProfile(file string, from io.Reader) (Profile, error) {
	in := bufio.NewReader(from)
	if mark, _ := in.Peek(3); string(mark) == "\ufeff" { // spreadsheets write one
		in.Discard(3)
	}
	r := csv.NewReader(in)
	r.Comment, r.ReuseRecord, r.TrimLeadingSpace = '#', true, true
	columns, err := header(file, r)
	if err != nil {
		return Profile{}, err
	}
	var p Profile
	for {
		row, err := r.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return Profile{}, csvError(file, err)
		}
		var v [2]float64
		for i, most := range [2]float64{MaxMinutes, MaxPPM} {
			if v[i], err = number(row[columns[i]], most); err != nil {
				return Profile{}, place(file, r, columns[i], columnNames[i], err)
			}
		}
		if n := len(p.Points); n > 0 && v[0] <= p.Points[n-1].Minute {
			return Profile{}, place(file, r, columns[0], columnNames[0], fmt.Errorf("%v: must be after %v, the row before", v[0], p.Points[n-1].Minute))
		}
		p.Points = append(p.Points, Point{v[0], v[1]})
		p.End = v[0]
	}
	if len(p.Points) == 0 {
		return Profile{}, fmt.Errorf("%s: no rows: a row for each change is wanted, such as 0,35", file)
	}
	return p, nil
}

var columnNames = [2]string{"minute", "ppm"}

// header finds the columns by their names.
func header(file string, r *csv.Reader) (columns [2]int, err error) {
	row, err := r.Read()
	if errors.Is(err, io.EOF) {
		return columns, fmt.Errorf("%s: empty: a header minute,ppm is wanted", file)
	}
	if err != nil {
		return columns, csvError(file, err)
	}
	for i, name := range columnNames {
		columns[i] = -1
		for at, word := range row {
			if strings.TrimSpace(word) == name {
				columns[i] = at
			}
		}
		if columns[i] < 0 {
			return columns, place(file, r, 0, name, errors.New("no such column in the header: minute,ppm is wanted"))
		}
	}
	return columns, nil
}

func number(s string, most float64) (float64, error) {
	v, err := strconv.ParseFloat(strings.TrimSpace(s), 64)
	switch {
	case err != nil:
		return 0, fmt.Errorf("%q: a number is wanted", s)
	case !(v >= 0 && v <= most):
		return 0, fmt.Errorf("%v: must be within 0 and %.0f", v, most)
	}
	return v, nil
}

func place(file string, r *csv.Reader, column int, name string, err error) error {
	line, _ := r.FieldPos(column)
	return fmt.Errorf("%s:%d: %s: %w", file, line, name, err)
}

func csvError(file string, err error) error {
	if p := (*csv.ParseError)(nil); errors.As(err, &p) {
		return fmt.Errorf("%s:%d: row: %w", file, p.Line, p.Err)
	}
	return fmt.Errorf("%s: %w", file, err)
}

// each calls f for every constant part, in order.
func (p Profile) each(f func(ppm, minutes float64)) {
	at, ppm := 0.0, 0.0
	for _, x := range p.Points {
		if x.Minute >= p.End {
			break
		}
		f(ppm, x.Minute-at)
		at, ppm = x.Minute, x.PPM
	}
	f(ppm, p.End-at)
}

// COHb is Work.COHb at the end, begun with percent.
func (p Profile) COHb(w Work, percent float64) float64 {
	p.each(func(ppm, minutes float64) { percent = w.COHb(percent, ppm, minutes) })
	return percent
}

// Linear is the linear form at the end, begun with percent.
func (p Profile) Linear(b, percent float64) float64 {
	p.each(func(ppm, minutes float64) { percent = Linear(b, percent, ppm, minutes) })
	return percent
}

// TWA8h is the time-weighted average in ppm: the sum of C·t over 8 h, even for
// a longer shift (29 CFR 1910.1000(d)(1)(i)).
func (p Profile) TWA8h() float64 {
	sum := 0.0
	p.each(func(ppm, minutes float64) { sum += ppm * minutes })
	return sum / 480
}

// Peak returns the highest mean over so many minutes, in ppm, and the first
// minute at which it was reached; before the start counts 0. The mean of a
// piecewise-constant signal is piecewise linear, so the peak lies where an edge
// enters the window or leaves it.
func (p Profile) Peak(window float64) (ppm, minute float64) {
	edges, sums, now, sum, last := []float64{0}, []float64{0}, 0.0, 0.0, 0.0
	var ppms []float64 // after each edge
	p.each(func(c, minutes float64) {
		now, sum, last = now+minutes, sum+c*minutes, c
		edges, sums, ppms = append(edges, now), append(sums, sum), append(ppms, c)
	})
	ppms = append(ppms, last)
	until := func(t float64) float64 { // the integral from 0 to t
		i := sort.Search(len(edges), func(i int) bool { return edges[i] > t }) - 1
		if i < 0 {
			return 0
		}
		return sums[i] + ppms[i]*(t-edges[i])
	}
	see := func(t float64) {
		mean := (until(t) - until(t-window)) / window
		// Rounding must not make a later edge of a plateau the peak.
		if t <= p.End && (mean > ppm*(1+1e-12) || mean == ppm && t < minute) {
			ppm, minute = mean, t
		}
	}
	for _, e := range edges {
		see(e)
	}
	for _, e := range edges {
		see(e + window)
	}
	return ppm, minute
}

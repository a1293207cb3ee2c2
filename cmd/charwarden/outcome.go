package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"
)

// outcome is what a sheet reckoned.
type outcome struct {
	cells cells
	notes []string // what a person must know with it
}

// cell is one number of an answer. NaN is one that is not asked for or is not
// there: null in JSON, "-" in a table.
type cell struct {
	key    string // in JSON
	name   string // for people
	head   string // of its column; "": not in the table of a sweep
	unit   string
	digits int // after the point; below 0: so many that count
	value  float64
}

func (c *cell) text() string {
	switch v := c.value; {
	case math.IsNaN(v) || math.IsInf(v, 0):
		return "-"
	case c.digits < 0:
		return strconv.FormatFloat(v, 'g', -c.digits, 64)
	default:
		s := strconv.FormatFloat(v, 'f', c.digits, 64)
		if strings.Trim(s, "-0.") == "" {
			s = strings.TrimPrefix(s, "-") // no zero below zero
		}
		return s
	}
}

// cells are one object in JSON, in the order in which they stand.
type cells []cell

func (r cells) MarshalJSON() ([]byte, error) {
	var b bytes.Buffer
	for i, c := range r {
		b.WriteByte("{,"[min(i, 1)])
		fmt.Fprintf(&b, "%q:", c.key)
		if math.IsNaN(c.value) || math.IsInf(c.value, 0) {
			b.WriteString("null")
			continue
		}
		v, err := json.Marshal(c.value)
		if err != nil {
			return nil, err
		}
		b.Write(v)
	}
	b.WriteByte('}')
	return b.Bytes(), nil
}

func (r cells) find(key string) *cell {
	for i := range r {
		if r[i].key == key {
			return &r[i]
		}
	}
	return nil
}

// set gives a number that stands in the cells.
func (r cells) set(key string, v float64) { r.find(key).value = v }

// print is the table of one answer, a line for each number.
func (a *outcome) print(w io.Writer) error {
	wide := 0
	for _, c := range a.cells {
		if !finite(c.value) {
			continue // not asked for, or a note says why
		}
		wide = max(wide, utf8.RuneCountInString(c.name))
	}
	var b strings.Builder
	for _, c := range a.cells {
		if !finite(c.value) {
			continue
		}
		line := fmt.Sprintf("%-*s  %s %s", wide, c.name, c.text(), c.unit)
		b.WriteString(strings.TrimRight(line, " ") + "\n")
	}
	writeNotes(&b, a.notes)
	_, err := io.WriteString(w, b.String())
	return err
}

// writeNotes puts the notes below a table, folded to what a terminal shows.
func writeNotes(b *strings.Builder, notes []string) {
	for i, n := range notes {
		if i == 0 {
			b.WriteByte('\n')
		}
		line := 0
		for _, word := range strings.Fields(n) {
			if l := utf8.RuneCountInString(word); line > 0 && line+1+l > 80 {
				b.WriteByte('\n')
				line = 0
			} else if line > 0 {
				b.WriteByte(' ')
				line++
			}
			b.WriteString(word)
			line += utf8.RuneCountInString(word)
		}
		b.WriteByte('\n')
	}
}

// printSweep is the table of a sweep: a column for each number, two lines of
// heads.
func printSweep(w io.Writer, rows []cells, notes []string) error {
	var lines [][]string
	var heads, units []string
	// A column without any number is one that was not asked for.
	shown := make([]bool, len(rows[0]))
	for i, c := range rows[0] {
		shown[i] = c.head != "" && slices.ContainsFunc(rows, func(r cells) bool { return finite(r[i].value) })
		if shown[i] {
			heads, units = append(heads, c.head), append(units, c.unit)
		}
	}
	lines = append(lines, heads, units)
	for _, r := range rows {
		var line []string
		for i := range r {
			if shown[i] {
				line = append(line, r[i].text())
			}
		}
		lines = append(lines, line)
	}
	wide := make([]int, len(heads))
	for _, l := range lines {
		for i, s := range l {
			wide[i] = max(wide[i], utf8.RuneCountInString(s))
		}
	}
	var b strings.Builder
	for _, l := range lines {
		for i, s := range l {
			if i > 0 {
				b.WriteString("  ")
			}
			b.WriteString(strings.Repeat(" ", wide[i]-utf8.RuneCountInString(s)) + s)
		}
		b.WriteByte('\n')
	}
	writeNotes(&b, notes)
	_, err := io.WriteString(w, b.String())
	return err
}

package main

import (
	"bufio"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
)

// mostRows of a table that is read whole.
const mostRows = 1e6

// readColumns reads these columns of a CSV file, by the names of its first
// row; others are not looked at, and neither are lines that begin with #.
func readColumns(file string, names ...string) ([][]float64, error) {
	f, err := os.Open(file)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return columns(file, f, names...)
}

func columns(file string, from io.Reader, names ...string) ([][]float64, error) {
	in := bufio.NewReader(from)
	if mark, _ := in.Peek(3); string(mark) == "\ufeff" { // spreadsheets write one
		in.Discard(3)
	}
	r := csv.NewReader(in)
	r.Comment, r.ReuseRecord, r.TrimLeadingSpace = '#', true, true
	head, err := r.Read()
	if err != nil {
		if errors.Is(err, io.EOF) {
			err = errors.New("empty: a first row with the names of the columns is wanted")
		}
		return nil, fmt.Errorf("%s: %w", file, err)
	}
	where := make([]int, len(names))
	for i, n := range names {
		where[i] = slices.IndexFunc(head, func(s string) bool { return strings.TrimSpace(s) == n })
		if where[i] < 0 {
			return nil, fmt.Errorf("%s: no column %s (wanted: %s)", file, n, strings.Join(names, ","))
		}
	}
	out := make([][]float64, len(names))
	for {
		row, err := r.Read()
		if errors.Is(err, io.EOF) {
			return out, nil
		}
		if err != nil {
			return nil, fmt.Errorf("%s: %w", file, err)
		}
		line, _ := r.FieldPos(0)
		if len(out[0]) >= mostRows {
			return nil, fmt.Errorf("%s:%d: more than %.0f rows", file, line, float64(mostRows))
		}
		for i, at := range where {
			v, err := strconv.ParseFloat(strings.TrimSpace(row[at]), 64)
			if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
				return nil, fmt.Errorf("%s:%d: %s: %q: a number is wanted", file, line, names[i], row[at])
			}
			out[i] = append(out[i], v)
		}
	}
}

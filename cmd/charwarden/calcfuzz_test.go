package main

import (
	"math"
	"strings"
	"testing"
)

// What a measure reads is a number, and reads the same as it writes it.
func FuzzMeasure(f *testing.F) {
	all := []*measure{inFraction, inRatio, inDegC, inKPa, inPa, inRPM, inMinutes, inHours, inNm3h, inKg, inKgh, inMJkg, inCC, inLitres, inMM, inMetres, inM2, inDensity, inPerM}
	for i, s := range []string{"15%", "1.2x", "25degC", "100.6kPa", "-3 Pa", "3600 rpm", "90 min", "8h", "9Nm3/h", "2kg", "1 lb/h", "31.5MJ/kg", "420cc", "30 L", "12.7mm", "2 in", "4dm2", "0.2kg/L", "2e6"} {
		f.Add(i, s)
	}
	f.Fuzz(func(t *testing.T, i int, s string) {
		m := all[((i%len(all))+len(all))%len(all)]
		v, err := m.parse(s)
		if err != nil {
			return
		}
		if !finite(v) {
			t.Fatalf("%q: %g", s, v)
		}
		back, err := m.parse(strings.TrimSpace(m.text(v)))
		if math.Abs(m.plain(v)) > 1e15 || math.Abs(v) > 1e15 {
			return // config reads no such numbers with a unit
		}
		if err != nil || math.Abs(back-v) > 1e-5*math.Abs(v) {
			t.Fatalf("%q is %g, written %q, which is %g, %v", s, v, m.text(v), back, err)
		}
	})
}

// A sweep that is read has at least two points between two numbers, and hits
// its ends.
func FuzzSweep(f *testing.F) {
	for _, s := range []string{"return=0..0.3/7", "hhv=30MJ/kg..33MJ/kg/4", "--loss=25%..0/2", "air-temp=-20..300/1000", "return=..../3", "return=0..1"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		p, err := hearthSheet.parseSweep(s)
		if err != nil {
			return
		}
		if p.n < 2 || p.n > mostPoints || p.at(0) != p.from || p.at(p.n-1) != p.to || !finite(p.from) || !finite(p.to) || p.from == p.to {
			t.Fatalf("%q: %+v", s, p)
		}
	})
}

// Columns that are read are of one length, and numbers.
func FuzzColumns(f *testing.F) {
	f.Add("# a\nkg,pa\n1,2\n3,4\n")
	f.Add("\ufeffpa, kg\n\"1\",2\n")
	f.Add("kg,pa\n1\n")
	f.Fuzz(func(t *testing.T, s string) {
		col, err := columns("f.csv", strings.NewReader(s), "kg", "pa")
		if err != nil {
			return
		}
		if len(col) != 2 || len(col[0]) != len(col[1]) {
			t.Fatalf("%q: %v", s, col)
		}
		for _, v := range append(col[0], col[1]...) {
			if !finite(v) {
				t.Fatalf("%q: %g", s, v)
			}
		}
	})
}

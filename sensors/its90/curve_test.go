package its90

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// published reads a table of testdata/published, one map a row. A column name
// that comes twice keeps its last value.
func published(t *testing.T, name string) []map[string]string {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "testdata", "published", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	all, err := r.ReadAll()
	if err != nil || len(all) < 2 {
		t.Fatalf("%s: %d rows, %v", name, len(all), err)
	}
	var rows []map[string]string
	for _, rec := range all[1:] {
		row := map[string]string{}
		for i, v := range rec {
			row[all[0][i]] = v
		}
		rows = append(rows, row)
	}
	return rows
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// TestCoefficients guards the transcription: the Go tables hold every
// coefficient of NIST SRD 60 and no other.
func TestCoefficients(t *testing.T) {
	type key struct {
		typ    Type
		lo, hi float64
	}
	forwards, inverses := map[key]*forward{}, map[key]*inverse{}
	left := 0 // coefficients in the Go tables that no row has named
	for _, typ := range types {
		c := typ.curve()
		for i := range c.forward {
			f := &c.forward[i]
			forwards[key{typ, f.loC, f.hiC}] = f
			left += len(f.c)
			if f.bump != nil {
				left += 3
			}
		}
		for i := range c.inverse {
			v := &c.inverse[i]
			inverses[key{typ, v.loMV, v.hiMV}] = v
			left += len(v.c)
		}
	}
	check := func(r map[string]string, got float64) {
		if left--; got != number(t, r["coefficient"]) {
			t.Errorf("%v: %v in the Go table", r, got)
		}
	}
	for _, r := range published(t, "its90_forward.csv") {
		f := forwards[key{Type(r["type"][0]), number(t, r["t_min_C"]), number(t, r["t_max_C"])}]
		if f == nil {
			t.Fatalf("no piece for %v", r)
		}
		switch {
		case r["term"] == "poly":
			check(r, f.c[int(number(t, r["order"]))])
		case f.bump == nil:
			t.Fatalf("no exponential for %v", r)
		default:
			check(r, map[string]float64{"a0": f.bump.a0, "a1": f.bump.a1, "a2": f.bump.a2}[r["order"]])
		}
	}
	for _, r := range published(t, "its90_inverse.csv") {
		v := inverses[key{Type(r["type"][0]), number(t, r["e_min_mV"]), number(t, r["e_max_mV"])}]
		if v == nil {
			t.Fatalf("no piece for %v", r)
		}
		check(r, v.c[int(number(t, r["order"]))])
	}
	if left != 0 {
		t.Errorf("%d coefficients more than published", left)
	}
}

// TestInverseBands holds the inverse polynomials alone, without Newton, against
// the error bands of NIST SRD 60 (to the band's own decimals), and against the
// extremes that a second independent implementation finds on the same grid.
func TestInverseBands(t *testing.T) {
	next := map[Type]int{}
	for _, r := range published(t, "its90_inverse_error.csv") {
		typ := Type(r["type"][0])
		v := &typ.curve().inverse[next[typ]]
		next[typ]++
		lo, hi := math.Inf(1), math.Inf(-1)
		first, last := number(t, r["t_min_C"]), number(t, r["t_max_C"])
		for i := range int(math.Round((last-first)*10)) + 1 {
			c := first + float64(i)/10
			e, err := typ.EMF(c)
			if err != nil {
				t.Fatal(err)
			}
			lo, hi = min(lo, v.at(e)-c), max(hi, v.at(e)-c)
		}
		decimals := func(x float64, like string) float64 {
			_, frac, _ := strings.Cut(like, ".")
			scale := math.Pow10(len(frac))
			return math.Round(x*scale) / scale
		}
		if decimals(lo, r["stated_lo_C"]) < number(t, r["stated_lo_C"]) ||
			decimals(hi, r["stated_hi_C"]) > number(t, r["stated_hi_C"]) {
			t.Errorf("type %v %v..%v: %+.5f/%+.5f outside the stated band %v/%v",
				typ, first, last, lo, hi, r["stated_lo_C"], r["stated_hi_C"])
		}
		if !near(lo, number(t, r["measured_min_err_C"]), 0.6e-4) || !near(hi, number(t, r["measured_max_err_C"]), 0.6e-4) {
			t.Errorf("type %v %v..%v: %+.5f/%+.5f, second implementation %v/%v",
				typ, first, last, lo, hi, r["measured_min_err_C"], r["measured_max_err_C"])
		}
	}
	for _, typ := range types {
		if next[typ] != len(typ.curve().inverse) {
			t.Errorf("type %v: %d pieces checked of %d", typ, next[typ], len(typ.curve().inverse))
		}
	}
}

// TestJoins: forward pieces meet to 1e-7 mV (the largest gap, type J at
// 760 degC, is 7.5e-8), and the inverse is as smooth there although its own
// pieces step by up to 0.07 degC.
func TestJoins(t *testing.T) {
	for _, typ := range types {
		c := typ.curve()
		for i := 1; i < len(c.forward); i++ {
			join := c.forward[i].loC
			if c.forward[i-1].hiC != join {
				t.Errorf("type %v: a gap at %v degC", typ, join)
			}
			a, _ := c.forward[i-1].at(join)
			b, _ := c.forward[i].at(join)
			if !near(a, b, 1e-7) {
				t.Errorf("type %v at %v degC: %v and %v mV", typ, join, a, b)
			}
		}
		for i := 1; i < len(c.inverse); i++ {
			e := c.inverse[i].loMV
			below, err1 := typ.Temperature(e - 1e-9)
			above, err2 := typ.Temperature(e + 1e-9)
			if err1 != nil || err2 != nil || !near(below, above, 5e-6) {
				t.Errorf("type %v at %v mV: %v and %v degC, %v %v", typ, e, below, above, err1, err2)
			}
		}
	}
}

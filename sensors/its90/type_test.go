package its90

import (
	"errors"
	"math"
	"strings"
	"testing"
)

func TestParseType(t *testing.T) {
	for _, want := range types {
		for _, s := range []string{want.String(), strings.ToLower(want.String())} {
			if got, err := ParseType(s); got != want || err != nil {
				t.Errorf("ParseType(%q) = %v, %v", s, got, err)
			}
		}
	}
	for _, s := range []string{"", "A", "C", "k ", "KK", "Κ", "\x00", "\xff"} {
		got, err := ParseType(s)
		if got != 0 || !errors.Is(err, ErrType) || !strings.Contains(err.Error(), "B E J K N R S T") {
			t.Errorf("ParseType(%q) = %v, %v", s, got, err)
		}
	}
}

func TestNoType(t *testing.T) {
	for _, typ := range []Type{0, 'A', 'L', 'k', 'U', 255} {
		for name, f := range map[string]func(float64) (float64, error){
			"EMF": typ.EMF, "Seebeck": typ.Seebeck, "Temperature": typ.Temperature,
		} {
			if got, err := f(1); !errors.Is(err, ErrType) || !math.IsNaN(got) {
				t.Errorf("%v.%s(1) = %v, %v", typ, name, got, err)
			}
		}
		if lo, hi := typ.Range(); !math.IsNaN(lo) || !math.IsNaN(hi) {
			t.Errorf("%v: range %v to %v", typ, lo, hi)
		}
	}
	if got := Type(7).String(); got != "type(7)" {
		t.Errorf("String of no type: %q", got)
	}
}

func FuzzParseType(f *testing.F) {
	for _, s := range []string{"K", "b", "", "KK", "é"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		typ, err := ParseType(s)
		if (err == nil) != (len(s) == 1 && strings.Contains("BEJKNRSTbejknrst", s)) {
			t.Fatalf("%q: %v, %v", s, typ, err)
		}
		if err == nil && !strings.EqualFold(typ.String(), s) {
			t.Fatalf("%q became %v", s, typ)
		}
	})
}

// FuzzRoundTrip: Temperature undoes EMF for every temperature of the range.
func FuzzRoundTrip(f *testing.F) {
	for _, typ := range types {
		for _, c := range []float64{-270, -210, -50, 0, 250, 760, 1664.5, 1768.1, math.NaN(), math.Inf(-1)} {
			f.Add(byte(typ), c)
		}
	}
	f.Fuzz(func(t *testing.T, b byte, c float64) {
		typ := Type(b)
		mV, err := typ.EMF(c)
		if lo, hi := typ.Range(); (err == nil) != (lo <= c && c <= hi) {
			t.Fatalf("%v.EMF(%v) = %v, %v", typ, c, mV, err)
		}
		if err != nil || typ == B && c < 250 {
			return
		}
		// 2e-6: type J has a gap of 1.2e-6 degC at 760 degC.
		if got, err := typ.Temperature(mV); err != nil || !near(got, c, 2e-6) {
			t.Fatalf("%v.Temperature(%v) = %v, %v, want %v", typ, mV, got, err, c)
		}
	})
}

// FuzzTemperature: a temperature without an error is inside the range and has
// the voltage; with an error it is NaN.
func FuzzTemperature(f *testing.F) {
	for _, typ := range types {
		for _, mV := range []float64{-9.835, -6.4582, -0.2356, 0, 0.291, 20.644, 54.886, 76.373, math.NaN(), math.Inf(1)} {
			f.Add(byte(typ), mV)
		}
	}
	f.Fuzz(func(t *testing.T, b byte, mV float64) {
		typ := Type(b)
		c, err := typ.Temperature(mV)
		if (err != nil) != math.IsNaN(c) {
			t.Fatalf("%v.Temperature(%v) = %v, %v", typ, mV, c, err)
		}
		if err != nil {
			return
		}
		lo, hi := typ.Range()
		back, err := typ.EMF(c)
		if tol := rounding + 1e-7; c < lo || c > hi || err != nil || !near(back, mV, tol) {
			t.Fatalf("%v.Temperature(%v) = %v, which has %v mV, %v", typ, mV, c, back, err)
		}
	})
}

func BenchmarkEMF(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		K.EMF(812.3)
	}
}

func BenchmarkTemperature(b *testing.B) {
	for _, bm := range []struct {
		name string
		typ  Type
		mV   float64
	}{{"K_hot", K, 33.8}, {"K_below_inverse", K, -6.4}, {"S_hot", S, 11.2}} {
		b.Run(bm.name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				bm.typ.Temperature(bm.mV)
			}
		})
	}
}

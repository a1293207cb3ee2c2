package max31855

import (
	"errors"
	"math"
	"testing"

	"charwarden/sensors/its90"
)

var parts = []its90.Type{its90.E, its90.J, its90.K, its90.N, its90.R, its90.S, its90.T}

// TestGains: the datasheet's gains (19-5793 p.8 table 1) are the mean slopes of
// the printed tables of NIST SRD 60, to the microvolt that those print.
func TestGains(t *testing.T) {
	for _, tt := range []struct {
		typ  its90.Type
		uV   float64 // datasheet
		atC  float64
		atMV float64 // NIST SRD 60
	}{
		{its90.K, 41.276, 1000, 41.276}, {its90.J, 57.953, 1000, 57.953}, {its90.N, 36.256, 1000, 36.256},
		{its90.S, 9.587, 1000, 9.587}, {its90.T, 52.18, 400, 20.872}, {its90.E, 76.373, 1000, 76.373},
		{its90.R, 10.506, 1000, 10.506},
	} {
		if got := gain(tt.typ); !near(got, tt.uV/1000, 1e-12) {
			t.Errorf("type %v: gain %v mV/degC, want %v uV/degC", tt.typ, got, tt.uV)
		}
		if mean := tt.atMV * 1000 / tt.atC; !near(mean, tt.uV, 1e-9) {
			t.Errorf("type %v: mean slope %v, gain %v", tt.typ, mean, tt.uV)
		}
		if e, err := tt.typ.EMF(tt.atC); err != nil || !near(e, tt.atMV, 0.0005) {
			t.Errorf("type %v at %v degC: %v mV, %v", tt.typ, tt.atC, e, err)
		}
	}
}

// TestLineariseTable: the type-K part over five cold junctions, through the
// quantised frame and back. The numbers are those of a second independent
// implementation of the same law and of ITS-90.
func TestLineariseTable(t *testing.T) {
	rows := published(t, "max31855_linearisation_K.csv")
	if len(rows) != 160 {
		t.Errorf("%d rows, want 160", len(rows))
	}
	for _, r := range rows {
		hot, cold := number(t, r["true_hot_C"]), number(t, r["true_cj_C"])
		chip, err := Delinearise(its90.K, hot, cold)
		if err != nil || !near(chip, number(t, r["chip_reports_C_unquantised"]), 0.00051) ||
			!near(chip-hot, number(t, r["chip_error_C"]), 0.00051) {
			t.Errorf("%v over %v degC: chip %v, %v, want %s", hot, cold, chip, err, r["chip_reports_C_unquantised"])
		}
		f := Encode(chip, cold, 0)
		if f != hexFrame(t, r["frame_hex"]) {
			t.Errorf("%v over %v degC: frame %v, want %s", hot, cold, f, r["frame_hex"])
		}
		c, j, fault, err := f.Decode()
		if c != number(t, r["decoded_tc_C"]) || j != number(t, r["decoded_cj_C"]) || fault != 0 || err != nil {
			t.Errorf("%v: %v %v %v %v, want %s %s", f, c, j, fault, err, r["decoded_tc_C"], r["decoded_cj_C"])
		}
		got, err := Linearise(its90.K, c, j)
		if err != nil || !near(got, number(t, r["corrected_by_newton_C"]), 0.00051) {
			t.Errorf("%v: %v degC, %v, want %s", f, got, err, r["corrected_by_newton_C"])
		}
		// Half a code of 0.25 degC is 5.2 uV; the cold junction's half code adds
		// 1.3 uV at most. What is left after the correction is those over the slope.
		slope, err := its90.K.Seebeck(hot)
		if err != nil || !near(got, hot, 0.0066/slope) {
			t.Errorf("%v over %v degC: corrected to %v, %v", hot, cold, got, err)
		}
	}
}

// TestChipMinusTruth: what is misread by whoever believes the chip, type K over
// 25 degC; a second independent implementation.
func TestChipMinusTruth(t *testing.T) {
	for i, want := range []float64{0.8, 0, -2.1, -3.5, -2.0, 0.9, 4.2, 6.5, 6.9, 5.1, 0.8, -6.1, -16.0, -29.5} {
		hot := float64(i) * 100
		if chip, err := Delinearise(its90.K, hot, 25); err != nil || !near(chip-hot, want, 0.0501) {
			t.Errorf("at %v degC the chip is off by %+.3f, %v, want %+.1f", hot, chip-hot, err, want)
		}
	}
}

func TestLineariseRoundTrip(t *testing.T) {
	for _, typ := range parts {
		lo, hi := typ.Range()
		for _, cold := range []float64{MinCold, 0, 25.0625, MaxCold} {
			for hot := lo; hot <= hi; hot += 7.3 {
				chip, err := Delinearise(typ, hot, cold)
				if err != nil {
					t.Fatal(err)
				}
				if got, err := Linearise(typ, chip, cold); err != nil || !near(got, hot, 1e-6) {
					t.Errorf("type %v, %v over %v degC: %v, %v", typ, hot, cold, got, err)
				}
			}
		}
	}
}

func TestLineariseErrors(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for _, typ := range []its90.Type{0, its90.B, 'k'} {
		var te *TypeError
		if v, err := Linearise(typ, 500, 25); !errors.As(err, &te) || te.Type != typ || !math.IsNaN(v) {
			t.Errorf("Linearise for %v: %v, %v", typ, v, err)
		}
		if v, err := Delinearise(typ, 500, 25); !errors.As(err, &te) || te.Type != typ || !math.IsNaN(v) {
			t.Errorf("Delinearise for %v: %v, %v", typ, v, err)
		}
	}
	for _, cold := range []float64{-40.0625, 125.0625, nan, inf, -inf} {
		var ce *ColdError
		if v, err := Linearise(its90.K, 500, cold); !errors.As(err, &ce) || !math.IsNaN(v) {
			t.Errorf("cold junction %v: %v, %v", cold, v, err)
		}
	}
	for _, tt := range []struct {
		chip float64
		high bool
	}{{1400, true}, {2047.75, true}, {inf, true}, {-200, false}, {-inf, false}, {nan, false}} {
		var re *its90.RangeError
		if v, err := Linearise(its90.K, tt.chip, 25); !errors.As(err, &re) || re.High() != tt.high || !math.IsNaN(v) {
			t.Errorf("chip %v: %v, %v, want high %v", tt.chip, v, err, tt.high)
		}
	}
	for _, tt := range [][2]float64{{1372.1, 25}, {-270.1, 25}, {500, -300}, {nan, 25}, {500, nan}} {
		var re *its90.RangeError
		if v, err := Delinearise(its90.K, tt[0], tt[1]); !errors.As(err, &re) || !math.IsNaN(v) {
			t.Errorf("%v over %v degC: %v, %v", tt[0], tt[1], v, err)
		}
	}
}

// FuzzLinearise: a number or an error, never both or neither; a number is
// inside the type's range and its chip reading is the one it came from.
func FuzzLinearise(f *testing.F) {
	f.Add(byte('K'), 500.0, 25.0)
	f.Add(byte('T'), -250.0, 125.0)
	f.Add(byte('S'), 1768.0, -40.0)
	f.Add(byte('B'), 500.0, 25.0)
	f.Fuzz(func(t *testing.T, b byte, chip, cold float64) {
		typ := its90.Type(b)
		hot, err := Linearise(typ, chip, cold)
		if (err != nil) != math.IsNaN(hot) {
			t.Fatalf("type %v, chip %v, cold %v: %v, %v", typ, chip, cold, hot, err)
		}
		if err != nil {
			return
		}
		// The ends of the range take half a microvolt of rounding.
		back, err := Delinearise(typ, hot, cold)
		if lo, hi := typ.Range(); hot < lo || hot > hi || err != nil || !near(back, chip, 0.00051/gain(typ)) {
			t.Fatalf("type %v, chip %v, cold %v: %v, which is %v, %v", typ, chip, cold, hot, back, err)
		}
	})
}

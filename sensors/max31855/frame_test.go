package max31855

import (
	"encoding/csv"
	"errors"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"charwarden/sensors/its90"
)

// published reads a table of testdata/published, one map a row.
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

func hexFrame(t *testing.T, s string) Frame {
	t.Helper()
	v, err := strconv.ParseUint(s, 0, 32)
	if err != nil {
		t.Fatal(err)
	}
	return Frame(v)
}

func near(a, b, tol float64) bool { return math.Abs(a-b) <= tol }

// TestDatasheetCodes: datasheet 19-5793 p.10 tables 4 and 5, both ways.
func TestDatasheetCodes(t *testing.T) {
	rows := published(t, "max31855_datasheet_codes.csv")
	if len(rows) != 16 {
		t.Errorf("%d codes, want 16", len(rows))
	}
	for _, r := range rows {
		bits, err := strconv.ParseUint(r["binary"], 2, 32)
		if err != nil || Frame(bits) != hexFrame(t, r["hex"]) {
			t.Fatalf("%v: %v", r, err)
		}
		want := number(t, r["temp_C"])
		// The other field holds 1 degC, so that no frame is all zeros.
		var frame, encoded Frame
		var chip, cold float64
		if strings.HasPrefix(r["field"], "thermocouple") {
			frame, chip, cold = Frame(bits)<<18|16<<4, want, 1
		} else {
			frame, chip, cold = 4<<18|Frame(bits)<<4, 1, want
		}
		encoded = Encode(chip, cold, 0)
		gotChip, gotCold, fault, err := frame.Decode()
		if gotChip != chip || gotCold != cold || fault != 0 || err != nil {
			t.Errorf("%v: decoded %v %v %v %v", r, gotChip, gotCold, fault, err)
		}
		if encoded != frame {
			t.Errorf("%v: encoded %v, want %v", r, encoded, frame)
		}
	}
}

// TestFrames: whole frames by the bit layout of datasheet 19-5793 p.10; the
// last is a capture from the field (ez.analog.com Q&A 598020).
func TestFrames(t *testing.T) {
	rows := published(t, "max31855_frames.csv")
	if len(rows) != 18 {
		t.Errorf("%d frames, want 18", len(rows))
	}
	for _, r := range rows {
		f := hexFrame(t, r["raw_hex"])
		chip, cold, fault, err := f.Decode()
		var want error
		switch {
		case strings.HasPrefix(r["name"], "all zeros"), strings.HasPrefix(r["name"], "all ones"):
			want = ErrNoChip
		case strings.HasPrefix(r["expect"], "bus fault"), strings.HasPrefix(r["expect"], "inconsistent"):
			want = ErrFrame
		case strings.HasPrefix(r["expect"], "garbage"):
			// No rule of the frame catches a slipped clock; the couple's range does.
			var re *its90.RangeError
			if _, lerr := Linearise(its90.K, chip, cold); err != nil || !errors.As(lerr, &re) || !re.High() {
				t.Errorf("%s: %v, linearised: %v", r["name"], err, lerr)
			}
			continue
		}
		if !errors.Is(err, want) {
			t.Errorf("%s: %v, want %v", r["name"], err, want)
		}
		if want != nil {
			if !math.IsNaN(chip) || !math.IsNaN(cold) || fault != 0 {
				t.Errorf("%s: %v %v %v beside an error", r["name"], chip, cold, fault)
			}
			continue
		}
		var wantFault Fault
		for column, bit := range map[string]Fault{"oc": Open, "scg": ShortGND, "scv": ShortVCC} {
			if r[column] == "1" {
				wantFault |= bit
			}
		}
		if strings.HasPrefix(r["expect"], "fault") != (wantFault != 0) {
			t.Fatalf("%v: the row disagrees with itself", r)
		}
		wantChip, wantCold := number(t, r["tc_C"]), number(t, r["cj_C"])
		if chip != wantChip || cold != wantCold || fault != wantFault {
			t.Errorf("%s: %v %v %v, want %v %v %v", r["name"], chip, cold, fault, wantChip, wantCold, wantFault)
		}
		if got := Encode(wantChip, wantCold, wantFault); got != f {
			t.Errorf("%s: encoded %v, want %v", r["name"], got, f)
		}
	}
}

func TestEncodeClampsAndRounds(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for _, tt := range []struct {
		chip, cold, wantChip, wantCold float64
	}{
		{3000, 200, 2047.75, 127.9375}, {-3000, -200, -2048, -128},
		{inf, inf, 2047.75, 127.9375}, {-inf, -inf, -2048, -128},
		{nan, 25, 2047.75, 25}, {25, nan, 25, 127.9375},
		{100.12, 25.03, 100, 25}, {100.13, 25.04, 100.25, 25.0625},
		{-0.12, -0.03, 0, 0}, {-0.13, -0.04, -0.25, -0.0625},
	} {
		// With a fault no frame is all zeros.
		chip, cold, fault, err := Encode(tt.chip, tt.cold, ShortGND).Decode()
		if chip != tt.wantChip || cold != tt.wantCold || fault != ShortGND || err != nil {
			t.Errorf("%v: %v %v %v %v", tt, chip, cold, fault, err)
		}
	}
	if got := Encode(1, 1, 0xF8); got != Encode(1, 1, 0) {
		t.Errorf("bits that are no fault change the frame to %v", got)
	}
}

func TestFaultWords(t *testing.T) {
	for _, tt := range []struct {
		fault Fault
		text  string
		words []string
	}{
		{0, "none", nil},
		{Open, "open", []string{"open"}},
		{ShortGND, "short_gnd", []string{"short_gnd"}},
		{ShortVCC, "short_vcc", []string{"short_vcc"}},
		{Open | ShortGND, "open|short_gnd", []string{"open", "short_gnd"}},
		{7, "open|short_gnd|short_vcc", []string{"open", "short_gnd", "short_vcc"}},
	} {
		if got := tt.fault.String(); got != tt.text {
			t.Errorf("String of %d: %q, want %q", tt.fault, got, tt.text)
		}
		if got := tt.fault.Words(); !slices.Equal(got, tt.words) {
			t.Errorf("Words of %d: %v, want %v", tt.fault, got, tt.words)
		}
	}
}

// FuzzFrame: what decodes encodes to the same frame; what does not is no number.
func FuzzFrame(f *testing.F) {
	for _, v := range []uint32{0, math.MaxUint32, 0x3E801900, 0x7FFD1901, 0x01921900, 0x01901908, 0x0C811900, 0x0C801901} {
		f.Add(v)
	}
	f.Fuzz(func(t *testing.T, v uint32) {
		chip, cold, fault, err := Frame(v).Decode()
		if err != nil {
			if !math.IsNaN(chip) || !math.IsNaN(cold) || fault != 0 || errors.Is(err, ErrNoChip) == errors.Is(err, ErrFrame) {
				t.Fatalf("%#08x: %v %v %v %v", v, chip, cold, fault, err)
			}
			return
		}
		if got := Encode(chip, cold, fault); got != Frame(v) {
			t.Fatalf("%#08x: %v %v %v encodes to %v", v, chip, cold, fault, got)
		}
	})
}

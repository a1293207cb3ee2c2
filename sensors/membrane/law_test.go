package membrane

import (
	"encoding/csv"
	"errors"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"periph.io/x/conn/v3/physic"

	"charwarden/sensors/ads1115"
)

// Computed by a second independent implementation from the transfer formulas
// in the datasheets of MPXV7002DP and MPX5010DP; the file names its source.
func TestVectors(t *testing.T) {
	f, err := os.Open("../../testdata/published/analog_pressure_vectors.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) != 1+34 {
		t.Fatalf("%d rows, want 34 and a header", len(rows))
	}
	for _, row := range rows[1:] {
		part, _, _ := strings.Cut(row[0], "/")
		l, err := ByName(part)
		if err != nil {
			t.Fatal(err)
		}
		var v [6]float64
		for i, s := range row[1:] {
			if v[i], err = strconv.ParseFloat(s, 64); err != nil {
				t.Fatal(err)
			}
		}
		supply, pa, volts, fsr, code, lsbPa := v[0], v[1]*1e3, v[2], v[3], v[4], v[5]

		if got := l.Volts(pa, supply); math.Abs(got-volts) > 0.00005 {
			t.Errorf("%v: %v V", row, got)
		}
		if got, err := l.Pressure(volts, supply); err != nil || math.Abs(got-pa) > 1e-6 {
			t.Errorf("%v: %v Pa, %v", row, got, err)
		}
		rng, err := ads1115.RangeFor(fsr)
		if err != nil {
			t.Fatal(err)
		}
		s := convert(t, rng, int16(code))
		if math.Abs(s.Volts-volts) > fsr/32768/2+1e-9 {
			t.Errorf("%v: code %v is %v V", row, code, s.Volts)
		}
		got, err := l.Pressure(s.Volts, supply)
		if err != nil || math.Abs(got-pa) > lsbPa/2+0.001 {
			t.Errorf("%v: code %v is %v Pa, %v", row, code, got, err)
		}
		next, err := l.Pressure(convert(t, rng, int16(code)+1).Volts, supply)
		if err != nil || math.Abs(next-got-lsbPa) > 0.000501 {
			t.Errorf("%v: one count is %v Pa, %v", row, next-got, err)
		}
	}
}

// oneCode is a bus on which an ADS1115 always holds one result.
type oneCode struct{ config, code uint16 }

func (b *oneCode) String() string                  { return "fake" }
func (b *oneCode) SetSpeed(physic.Frequency) error { return nil }
func (b *oneCode) Tx(_ uint16, w, r []byte) error {
	v := b.code
	switch {
	case len(w) == 3:
		b.config = uint16(w[1])<<8 | uint16(w[2])
		return nil
	case w[0] == 1:
		v = b.config | 1<<15
	}
	r[0], r[1] = byte(v>>8), byte(v)
	return nil
}

func convert(t *testing.T, r ads1115.Range, code int16) ads1115.Sample {
	t.Helper()
	d, err := ads1115.New(&oneCode{config: 0x0583, code: uint16(code)}, 0x48, &ads1115.Opts{Sleep: func(time.Duration) {}})
	if err != nil {
		t.Fatal(err)
	}
	s, err := d.Read(ads1115.AIN0, r, ads1115.SPS128)
	if err != nil || s.Code != code {
		t.Fatalf("code %d: %+v, %v", code, s, err)
	}
	return s
}

// MPX5010 Rev 2, Operating Characteristics: full scale output 4.7 V typical,
// 4.925 V at most, offset 0.425 V at most: all must be numbers.
func TestDatasheetExtremes(t *testing.T) {
	for volts, want := range map[float64]float64{4.925: 10500, 0.425: 500, 4.7: 10000, 0.2: 0} {
		if pa, err := MPX5010DP.Pressure(volts, 5); err != nil || math.Abs(pa-want) > 1e-6 {
			t.Errorf("%v V: %v Pa, %v, want %v", volts, pa, err, want)
		}
	}
}

func TestRangeError(t *testing.T) {
	linear, err := Linear(0, 4.5, 1000, 0.5) // falls with pressure
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		law   Law
		volts float64
		bad   bool
		high  bool
	}{
		{MPX5010DP, 4.930, true, true},
		{MPX5010DP, 4.920, false, false},
		{MPX5010DP, 0.019, true, false}, // wire off
		{MPX5010DP, 0.021, false, false},
		{MPX5010DP, -1, true, false},
		{MPXV7002DP, 4.751, true, true},
		{MPXV7002DP, 4.749, false, false},
		{MPXV7002DP, 0.251, false, false},
		{MPXV7002DP, 0.249, true, false},
		{MPXV7002DP, math.Inf(1), true, true},
		{linear, 4.71, true, false},
		{linear, 4.69, false, false},
		{linear, 0.31, false, false},
		{linear, 0.29, true, true},
	} {
		pa, err := c.law.Pressure(c.volts, 5)
		var re *RangeError
		if errors.As(err, &re) != c.bad || c.bad && re.High() != c.high || c.bad != math.IsNaN(pa) {
			t.Errorf("%s at %v V: %v Pa, %v", c.law.Name, c.volts, pa, err)
		}
	}
}

func TestSupply(t *testing.T) {
	for supply, ok := range map[float64]bool{
		4.74: false, 4.75: true, 4.8: true, 5.25: true, 5.26: false,
		0: false, math.NaN(): false, math.Inf(1): false,
	} {
		pa, err := MPXV7002DP.Pressure(2.5, supply)
		var se *SupplyError
		if errors.As(err, &se) == ok || ok == math.IsNaN(pa) {
			t.Errorf("supply %v V: %v Pa, %v", supply, pa, err)
		}
	}
	// A 4.8 V rail taken for 5 V: 100 Pa wrong.
	if pa, err := MPXV7002DP.Pressure(MPXV7002DP.Volts(0, 4.8), 5); err != nil || math.Abs(pa+100) > 1e-6 {
		t.Errorf("%v Pa, %v", pa, err)
	}
	// A sensor with its own reference does not care.
	l, err := Linear(-100, 1, 100, 3)
	if err != nil {
		t.Fatal(err)
	}
	if pa, err := l.Pressure(2.5, math.NaN()); err != nil || math.Abs(pa-50) > 1e-9 {
		t.Errorf("%v Pa, %v", pa, err)
	}
}

func TestErrorText(t *testing.T) {
	for _, c := range []struct{ volts, supply float64 }{{0, 5}, {5, 5}, {2.5, 4.2}} {
		_, err := MPXV7002DP.Pressure(c.volts, c.supply)
		want := map[float64]string{
			0:   "membrane: MPXV7002DP: 0.000 V: below the range -2000..2000 Pa: check wiring, hoses and supply",
			5:   "membrane: MPXV7002DP: 5.000 V: above the range -2000..2000 Pa: check wiring, hoses and supply",
			2.5: "membrane: MPXV7002DP: supply 4.200 V: outside 4.75..5.25 V: check the 5 V rail",
		}[c.volts]
		if err == nil || err.Error() != want {
			t.Errorf("%v V: %v", c.volts, err)
		}
	}
}

func TestNoPressure(t *testing.T) {
	if pa, err := MPX5010DP.Pressure(math.NaN(), 5); err == nil || !math.IsNaN(pa) {
		t.Errorf("NaN V: %v Pa, %v", pa, err)
	}
	if pa, err := (Law{}).Pressure(1, 5); err == nil || !math.IsNaN(pa) {
		t.Errorf("no law: %v Pa, %v", pa, err)
	}
}

// 0.3 V over 450 mV/kPa and over 1 V/kPa (datasheet sensitivities).
func TestMaxZero(t *testing.T) {
	if pa := MPX5010DP.MaxZeroPa(); math.Abs(pa-0.3/0.45e-3) > 1e-9 {
		t.Errorf("MPX5010DP: %v Pa", pa)
	}
	if pa := MPXV7002DP.MaxZeroPa(); math.Abs(pa-300) > 1e-9 {
		t.Errorf("MPXV7002DP: %v Pa", pa)
	}
	l, err := Linear(0, 4.5, 1000, 0.5)
	if err != nil {
		t.Fatal(err)
	}
	if pa := l.MaxZeroPa(); math.Abs(pa-75) > 1e-9 {
		t.Errorf("linear: %v Pa", pa)
	}
}

func TestNames(t *testing.T) {
	for _, l := range Laws() {
		if got, err := ByName(l.Name); err != nil || got != l {
			t.Errorf("ByName(%q) = %+v, %v", l.Name, got, err)
		}
	}
	if _, err := ByName("mpx"); err == nil || !strings.Contains(err.Error(), "MPXV7002DP") {
		t.Errorf("unknown name: %v", err)
	}
}

func TestLinearRefuses(t *testing.T) {
	for _, p := range [][4]float64{
		{0, 1, 0, 2}, {0, 1, 5, 1}, {math.NaN(), 1, 5, 2}, {0, 1, math.Inf(1), 2}, {0, 0, 1e308, 1e-300},
	} {
		if l, err := Linear(p[0], p[1], p[2], p[3]); err == nil {
			t.Errorf("%v: %+v", p, l)
		}
	}
}

// Pascals to volts and back; a number is never beyond range and band.
func FuzzPressure(f *testing.F) {
	f.Add(250.0, 5.0, uint8(0))
	f.Add(-2250.0, 4.75, uint8(1))
	f.Add(math.NaN(), 5.25, uint8(1))
	f.Fuzz(func(t *testing.T, pa, supply float64, n uint8) {
		l := Laws()[int(n)%len(Laws())]
		volts := l.Volts(pa, supply)
		back, err := l.Pressure(volts, supply)
		inside := pa >= l.LoPa && pa <= l.HiPa && supply >= l.MinV && supply <= l.MaxV
		switch {
		case err != nil && (inside || !math.IsNaN(back)):
			t.Errorf("%s: %v Pa at %v V supply: %v, %v", l.Name, pa, supply, back, err)
		case err == nil && !(math.Abs(back-pa) < 1e-6):
			t.Errorf("%s: %v Pa at %v V supply: back %v", l.Name, pa, supply, back)
		case err == nil && (back < l.LoPa-l.UnzeroedPa || back > l.HiPa+l.UnzeroedPa):
			t.Errorf("%s: %v Pa is out of range", l.Name, back)
		}
	})
}

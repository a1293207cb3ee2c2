package ads1115

import (
	"math"
	"testing"
	"time"
)

// SBAS444, Full-Scale Range and Corresponding LSB Size.
func TestLSB(t *testing.T) {
	for _, c := range []struct {
		r         Range
		fullScale float64
		lsbMicroV float64
		name      string
	}{
		{V6_144, 6.144, 187.5, "6.144V"},
		{V4_096, 4.096, 125, "4.096V"},
		{V2_048, 2.048, 62.5, "2.048V"},
		{V1_024, 1.024, 31.25, "1.024V"},
		{V0_512, 0.512, 15.625, "0.512V"},
		{V0_256, 0.256, 7.8125, "0.256V"},
	} {
		if c.r.Volts() != c.fullScale || c.r.String() != c.name {
			t.Errorf("%v: %v V", c.r, c.r.Volts())
		}
		if got := sample(1, c.r).Volts; math.Abs(got-c.lsbMicroV*1e-6) > 1e-15 {
			t.Errorf("%v: one count is %v V", c.r, got)
		}
	}
}

// SBAS444, Input Signal Versus Ideal Output Code, and negative codes.
func TestCodes(t *testing.T) {
	const lsb = 62.5e-6
	for _, c := range []struct {
		code  uint16
		volts float64
		clip  int8
	}{
		{0x7fff, 2.048 - lsb, 1},
		{0x7ffe, 2.048 - 2*lsb, 0},
		{0x0001, lsb, 0},
		{0x0000, 0, 0},
		{0xffff, -lsb, 0},
		{0xc000, -1.024, 0},
		{0x8001, -2.048 + lsb, 0},
		{0x8000, -2.048, -1},
	} {
		chip := newChip()
		chip.codes[AIN0_1.mux()] = c.code
		s, err := open(t, chip).Read(AIN0_1, V2_048, SPS860)
		if err != nil || math.Abs(s.Volts-c.volts) > 1e-12 || s.Clip != c.clip || s.Code != int16(c.code) {
			t.Errorf("%04x: %+v, %v", c.code, s, err)
		}
	}
}

// SBAS444, Config Register Field Descriptions.
func TestFields(t *testing.T) {
	for in, want := range map[Input]uint16{
		AIN0_1: 0b000, AIN0_3: 0b001, AIN1_3: 0b010, AIN2_3: 0b011,
		AIN0: 0b100, AIN1: 0b101, AIN2: 0b110, AIN3: 0b111,
	} {
		if in.mux() != want {
			t.Errorf("%v: MUX %03b, want %03b", in, in.mux(), want)
		}
		if back, err := ParseInput(in.String()); err != nil || back != in {
			t.Errorf("ParseInput(%q) = %v, %v", in, back, err)
		}
	}
	for _, s := range []string{"", "ain0", "AIN4", "AIN1-AIN0", "input(8)"} {
		if in, err := ParseInput(s); err == nil {
			t.Errorf("ParseInput(%q) = %v", s, in)
		}
	}
	for i, sps := range []int{8, 16, 32, 64, 128, 250, 475, 860} { // DR 000..111
		r := Rate(i)
		if r.SPS() != sps || r.Period() != time.Second/time.Duration(sps) {
			t.Errorf("DR %03b: %d SPS, %v", i, r.SPS(), r.Period())
		}
	}
}

func TestRangeFor(t *testing.T) {
	for volts, want := range map[float64]Range{
		1e-6: V0_256, 0.256: V0_256, 0.257: V0_512, 1: V1_024, 2.048: V2_048,
		3.3: V4_096, 4.097: V6_144, 6.144: V6_144,
	} {
		if r, err := RangeFor(volts); err != nil || r != want {
			t.Errorf("RangeFor(%v) = %v, %v", volts, r, err)
		}
	}
	for _, volts := range []float64{0, -1, 6.145, math.NaN(), math.Inf(1)} {
		if r, err := RangeFor(volts); err == nil {
			t.Errorf("RangeFor(%v) = %v", volts, r)
		}
	}
}

func TestRateFor(t *testing.T) {
	for sps, want := range map[int]Rate{1: SPS8, 8: SPS8, 9: SPS16, 100: SPS128, 475: SPS475, 860: SPS860} {
		if r, err := RateFor(sps); err != nil || r != want {
			t.Errorf("RateFor(%d) = %v, %v", sps, r, err)
		}
	}
	for _, sps := range []int{-1, 0, 861} {
		if r, err := RateFor(sps); err == nil {
			t.Errorf("RateFor(%d) = %v", sps, r)
		}
	}
}

func TestUnknownNames(t *testing.T) {
	if inputs.String() != "input(8)" || ranges.String() != "range(6)" || rates.String() != "rate(8)" {
		t.Error(inputs, ranges, rates)
	}
	if ranges.Volts() != 0 || rates.SPS() != 0 || rates.Period() != 0 || SPS128.String() != "128SPS" {
		t.Error("a setting that does not exist has a value")
	}
}

// Codes and volts go over into each other in every range.
func FuzzCode(f *testing.F) {
	f.Add(int16(0), uint8(0))
	f.Add(int16(math.MinInt16), uint8(5))
	f.Add(int16(math.MaxInt16), uint8(2))
	f.Fuzz(func(t *testing.T, code int16, n uint8) {
		r := Range(n) % ranges
		s := sample(code, r)
		if back := math.Round(s.Volts / r.Volts() * 32768); back != float64(code) {
			t.Errorf("%d at %v: %v V, back %v", code, r, s.Volts, back)
		}
		if s.Volts < -r.Volts() || s.Volts >= r.Volts() {
			t.Errorf("%d at %v: %v V is out of range", code, r, s.Volts)
		}
		if (s.Clip != 0) != (code == math.MaxInt16 || code == math.MinInt16) || int(s.Clip)*int(code) < 0 {
			t.Errorf("%d: clip %d", code, s.Clip)
		}
	})
}

package ads1115

import (
	"errors"
	"fmt"
	"testing"
)

// Two inputs read in turn, 200 times each, on a chip whose clock is 0..10 %
// slow (SBAS444, Electrical Characteristics: data rate -10 %..10 %). The
// sleep-only reader must fail here as soon as the clock is slow at all;
// otherwise the chip of this test could not show the fault that Read cures.
// Wrong values of 400 as seen here, the same whether a busy chip ignores the
// write or latches all of it but the start:
//
//	clock    sleep-only  Read
//	nominal  0           0
//	+2 %     201         0
//	+5 %     201         0
//	+10 %    201         0
func TestNeverTheOtherInput(t *testing.T) {
	for _, rate := range []Rate{SPS8, SPS128, SPS860} {
		for _, k := range []float64{1, 1.02, 1.05, 1.10} {
			for _, latch := range []bool{false, true} {
				t.Run(fmt.Sprintf("%v/%v/latch=%v", rate, k, latch), func(t *testing.T) {
					if wrong := alternateNaive(rate, k, latch); (wrong > 0) != (k > 1) {
						t.Errorf("sleep-only reader: %d of 400 wrong at a clock of %v", wrong, k)
					} else {
						t.Logf("sleep-only reader: %d of 400 wrong", wrong)
					}
					c := newChip()
					c.k, c.latch = k, latch
					d := open(t, c)
					for i := range 400 {
						in := [2]Input{AIN0, AIN2_3}[i%2]
						s, err := d.Read(in, V4_096, rate)
						if err != nil {
							t.Fatalf("read %d: %v", i, err)
						}
						if want := int16(c.codes[in.mux()]); s.Code != want {
							t.Fatalf("read %d of %v: code %d, want %d", i, in, s.Code, want)
						}
					}
				})
			}
		}
	}
}

func alternateNaive(rate Rate, k float64, latch bool) (wrong int) {
	c := newChip()
	c.k, c.latch = k, latch
	for i := range 400 {
		in := [2]Input{AIN0, AIN2_3}[i%2]
		if naive(c, in, rate) != int16(c.codes[in.mux()]) {
			wrong++
		}
	}
	return wrong
}

// Whatever breaks off a read, the next one of another input is not given its
// result.
func TestReadAfterAbort(t *testing.T) {
	for _, latch := range []bool{false, true} {
		for at := range 5 { // transfer of the first read that fails
			c := newChip()
			c.latch, c.k = latch, 1.1
			d := open(t, c)
			c.fault = func(tx int) error {
				if tx == at+2 {
					return errNACK
				}
				return nil
			}
			_, first := d.Read(AIN1, V2_048, SPS8)
			if !errors.Is(first, errNACK) {
				t.Fatalf("latch %v, fault at %d: %v", latch, at, first)
			}
			s, err := d.Read(AIN3, V2_048, SPS860)
			if err != nil {
				t.Fatalf("latch %v, fault at %d (%v): %v", latch, at, first, err)
			}
			if want := int16(c.codes[AIN3.mux()]); s.Code != want {
				t.Errorf("latch %v, fault at %d (%v): code %d, want %d", latch, at, first, s.Code, want)
			}
		}
	}
}

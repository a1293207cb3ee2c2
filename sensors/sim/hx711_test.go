package sim

import (
	"testing"
	"time"

	"periph.io/x/conn/v3/gpio"
)

// bench is an HX711 on two pins, with a hand on its clock.
type bench struct {
	t           *testing.T
	hand        *hand
	chip        *HX711
	clock, data gpio.PinIO
}

func newBench(t *testing.T, c *HX711) *bench {
	t.Helper()
	h := newHand()
	b := NewBoard(h, 1)
	b.AddHX711("GPIO5", "GPIO6", c)
	clock, _ := b.Pin("GPIO5")
	data, _ := b.Pin("GPIO6")
	r := &bench{t: t, hand: h, chip: c, clock: clock, data: data}
	if err := data.In(gpio.PullUp, gpio.NoEdge); err != nil {
		t.Fatal(err)
	}
	r.out(gpio.Low)
	return r
}

func (r *bench) out(l gpio.Level) {
	r.t.Helper()
	if err := r.clock.Out(l); err != nil {
		r.t.Fatal(err)
	}
}

// pulse returns the level of data while the clock is high for a time.
func (r *bench) pulse(high time.Duration) gpio.Level {
	r.t.Helper()
	r.out(gpio.High)
	r.hand.pass(high)
	l := r.data.Read()
	r.out(gpio.Low)
	r.hand.pass(time.Microsecond)
	return l
}

// read waits for a frame, for a second at most, and clocks it out.
func (r *bench) read(pulses int) (count int32, waited time.Duration) {
	r.t.Helper()
	for ; r.data.Read() == gpio.High; waited += time.Millisecond {
		if waited > time.Second {
			r.t.Fatal("no frame within a second")
		}
		r.hand.pass(time.Millisecond)
	}
	var v uint32
	for i := range pulses {
		l := r.pulse(time.Microsecond)
		switch {
		case i < 24 && l == gpio.High:
			v |= 1 << (23 - i)
		case i >= 24 && l == gpio.Low:
			r.t.Errorf("pulse %d: data is low", i+1)
		}
	}
	return int32(v<<8) >> 8, waited
}

// The count as the data sheet has it (p. 4): two's complement, saturated at
// 7FFFFF and 800000.
func TestHX711Count(t *testing.T) {
	for _, c := range []struct {
		zero, kg float64
		want     int32
	}{
		{0, 0, 0}, {0, 1, 21600}, {-1000, 1, 20600}, {-1, 0, -1}, {8388606, 0, 8388606},
		{8388607, 1, 8388607}, {0, 1e6, 0x7fffff}, {0, -1e6, -0x800000}, {-8388608, 0, -8388608},
	} {
		r := newBench(t, &HX711{Weight: steady(c.kg), PerKilogram: 21600, Zero: c.zero})
		r.hand.pass(400 * time.Millisecond)
		if got, _ := r.read(25); got != c.want {
			t.Errorf("%g kg and %g: %d, want %d", c.kg, c.zero, got, c.want)
		}
		if r.data.Read() != gpio.High {
			t.Error("data is low after the frame")
		}
	}
}

// The number of pulses chooses the input of the next conversion, which settles
// for 400 ms (data sheet, table 3 and "Key Electrical Characteristics").
func TestHX711Input(t *testing.T) {
	r := newBench(t, &HX711{Weight: steady(2), PerKilogram: 20000, Zero: 100})
	for i, c := range []struct {
		pulses int
		want   int32
		least  time.Duration
	}{
		{25, 40100, 399 * time.Millisecond}, // after the clock's fall woke it
		{27, 40100, 99 * time.Millisecond},
		{27, 20050, 399 * time.Millisecond},
		{26, 20050, 99 * time.Millisecond},
		{26, 0, 399 * time.Millisecond},
		{25, 0, 99 * time.Millisecond},
		{25, 40100, 399 * time.Millisecond},
	} {
		got, waited := r.read(c.pulses)
		if got != c.want || waited < c.least || waited > c.least+2*time.Millisecond {
			t.Errorf("read %d: %d after %v, want %d after %v", i, got, waited, c.want, c.least)
		}
	}
}

// A clock that is high for more than 60 us is a power down and, when it falls, a
// reset (data sheet, p. 5, figure 3): the rest of the frame is ones, and channel
// A at gain 128 comes back after the settling.
func TestHX711PowerDown(t *testing.T) {
	for _, c := range []struct {
		high time.Duration
		dies bool
	}{{50 * time.Microsecond, false}, {60 * time.Microsecond, false}, {61 * time.Microsecond, true}, {5 * time.Millisecond, true}} {
		r := newBench(t, &HX711{Weight: steady(0), PerKilogram: 20000, Zero: 0x0f00})
		r.read(27)
		r.hand.pass(500 * time.Millisecond)
		for range 4 {
			r.pulse(time.Microsecond)
		}
		r.pulse(c.high)
		ones := true
		for range 7 {
			ones = ones && bool(r.pulse(time.Microsecond))
		}
		if ones != c.dies {
			t.Errorf("%v: the rest is ones: %v, want %v", c.high, ones, c.dies)
		}
		if !c.dies {
			continue
		}
		if got, waited := r.read(25); got != 0x0f00 || waited < 398*time.Millisecond {
			t.Errorf("%v: %#x after %v, want %#x after 400 ms", c.high, got, waited, 0x0f00)
		}
	}
}

// A frame that was left half way does not end in the next one.
func TestHX711Left(t *testing.T) {
	r := newBench(t, &HX711{Weight: steady(0), Zero: 0x5555})
	r.read(25)
	r.hand.pass(200 * time.Millisecond)
	for range 9 {
		r.pulse(time.Microsecond)
	}
	r.hand.pass(150 * time.Millisecond)
	if got, _ := r.read(25); got != 0x5555 {
		t.Errorf("%#x, want 0x5555", got)
	}
}

func TestHX711Lines(t *testing.T) {
	r := newBench(t, &HX711{Weight: steady(0), Zero: 0x5555, Noise: 30})
	r.read(25)
	r.chip.SetLine(StuckLow)
	if got, _ := r.read(24); got != 0 {
		t.Errorf("stuck low: %#x", got)
	}
	r.chip.SetLine(StuckHigh)
	r.hand.pass(time.Second)
	if r.data.Read() != gpio.High {
		t.Error("stuck high: data is low")
	}
	r.chip.SetLine(Intact)
	r.chip.Reset(r.hand.Now())
	seen := map[int32]bool{}
	for range 20 {
		got, _ := r.read(25)
		if got < 0x5555-150 || got > 0x5555+150 {
			t.Errorf("%#x with a noise of 30 counts", got)
		}
		seen[got] = true
	}
	if len(seen) < 10 {
		t.Errorf("%d values in 20 noisy readings", len(seen))
	}
}

// Whatever is clocked, data is a level and a whole frame is the count.
func FuzzHX711(f *testing.F) {
	f.Add([]byte{1, 0, 200, 30}, int32(-5))
	f.Fuzz(func(t *testing.T, moves []byte, count int32) {
		count = count << 8 >> 8
		r := newBench(t, &HX711{Weight: steady(0), Zero: float64(count)})
		for _, m := range moves {
			if m&1 == 0 {
				r.hand.pass(time.Duration(m) * 2 * time.Millisecond)
			} else {
				r.pulse(time.Duration(m) * time.Microsecond / 2)
			}
		}
		r.out(gpio.High) // a reset, as a reader makes that has lost the thread
		r.hand.pass(time.Millisecond)
		r.out(gpio.Low)
		if got, _ := r.read(25); got != count {
			t.Errorf("%d, want %d", got, count)
		}
	})
}

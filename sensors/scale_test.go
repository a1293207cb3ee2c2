package sensors_test

import (
	"errors"
	"strings"
	"testing"
	"time"

	"periph.io/x/conn/v3/gpio"

	"charwarden/sensors"
	"charwarden/sensors/sim"
)

var _ sensors.Sensor = (*sensors.Scale)(nil)

// hopperCell is a cell for 20 kg with 21500 counts a kg, 5.5 kg on it.
func hopperCell(b sensors.Board, chip *sim.HX711) *sensors.Scale {
	s := &sensors.Scale{Channel: "hopper", Board: b, Clock: "GPIO5", Data: "GPIO6", Zero: chip.Zero,
		KgPerCount: 1 / 21500.0, FullScale: 20, Now: time.Now}
	if chip.PerKilogram != 0 {
		s.KgPerCount = 1 / chip.PerKilogram
	}
	return s
}

// asked asks once a second and returns what came last, with how many came.
func asked(t *testing.T, s *sensors.Scale, seconds int) (last sensors.Reading, n int) {
	t.Helper()
	for range seconds {
		for _, r := range s.Sense(time.Now(), nil) {
			honest(t, r)
			last, n = r, n+1
		}
		time.Sleep(time.Second)
	}
	return last, n
}

func TestScale(t *testing.T) {
	for _, c := range []struct {
		kg, per, zero float64
		input         sensors.Bridge
		status        sensors.Status
		want          float64
	}{
		{5.5, 21500, 84000, sensors.A128, sensors.Good, 5.5},
		{5.5, -21500, 84000, sensors.A128, sensors.Good, 5.5},
		{0, 21500, -3, sensors.A128, sensors.Good, 0},
		{20, 21500, 0, sensors.A128, sensors.Good, 20},
		{20.1, 21500, 0, sensors.A128, sensors.ClippedHigh, 20},
		{-1.9, 21500, 0, sensors.A128, sensors.Good, -1.9},
		{-2.1, 21500, 0, sensors.A128, sensors.OutOfRange, 0},
		{1000, 21500, 0, sensors.A128, sensors.ClippedHigh, 20},
		{-1000, 21500, 0, sensors.A128, sensors.ClippedLow, -2},
		{1000, -21500, 0, sensors.A128, sensors.ClippedHigh, 20},
		{-1000, -21500, 0, sensors.A128, sensors.ClippedLow, -2},
		{5.5, 21500, 0, sensors.A64, sensors.Good, 2.75}, // half the gain
		{5.5, 21500, 0, sensors.B32, sensors.Good, 0},    // nothing on channel B
	} {
		onBoard(t, func(t *testing.T, b *sim.Board) {
			chip := &sim.HX711{Weight: steady(c.kg), PerKilogram: c.per, Zero: c.zero}
			b.AddHX711("GPIO5", "GPIO6", chip)
			s := hopperCell(b, chip)
			s.Input = c.input
			r, n := asked(t, s, 4)
			if n != 2 {
				t.Errorf("%+v: %d readings in 4 s, want the third and the fourth", c, n)
			}
			wantStatus(t, "hopper", r, c.status)
			if c.status != sensors.OutOfRange && (r.Value < c.want-1e-4 || r.Value > c.want+1e-4) {
				t.Errorf("%+v: %v kg", c, r.Value)
			}
			if r.Status == sensors.Good && r.Uncertainty != 0.04 {
				t.Errorf("uncertainty %v kg, want 0.2 %% of 20 kg", r.Uncertainty)
			}
		})
	}
}

// The wake and the choice of the input settle for 400 ms each, even where data
// is low before (data sheet, "Key Electrical Characteristics").
func TestScaleSettles(t *testing.T) {
	onBoard(t, func(t *testing.T, b *sim.Board) {
		chip := &sim.HX711{Weight: steady(8), PerKilogram: 21500}
		b.AddHX711("GPIO5", "GPIO6", chip)
		s, start := hopperCell(b, chip), time.Now()
		for len(s.Sense(time.Now(), nil)) == 0 {
			time.Sleep(100 * time.Millisecond)
		}
		if took := time.Since(start); took != 800*time.Millisecond {
			t.Errorf("first reading after %v, want 800 ms", took)
		}
	})
}

// An input that another program chose is not taken for one's own.
func TestScaleOfAnother(t *testing.T) {
	onBoard(t, func(t *testing.T, b *sim.Board) {
		chip := &sim.HX711{Weight: steady(8), PerKilogram: 21500}
		b.AddHX711("GPIO5", "GPIO6", chip)
		before := hopperCell(b, chip)
		before.Input = sensors.A64
		asked(t, before, 3)
		s := hopperCell(b, chip)
		for range 5 {
			for _, r := range s.Sense(time.Now(), nil) {
				if r.Value < 7.999 || r.Value > 8.001 {
					t.Fatalf("%v kg, want 8", r.Value)
				}
			}
			time.Sleep(200 * time.Millisecond)
		}
	})
}

// lazyBoard keeps one clock pin high for a time at chosen pulses.
type lazyBoard struct {
	*sim.Board
	high func(pulse int) time.Duration
	fail func(pulse int) error
}

type lazyPin struct {
	gpio.PinIO
	b *lazyBoard
	n int
}

func (b *lazyBoard) Pin(name string) (gpio.PinIO, error) {
	p, err := b.Board.Pin(name)
	if name != "GPIO5" || err != nil {
		return p, err
	}
	return &lazyPin{PinIO: p, b: b}, nil
}

func (p *lazyPin) Out(l gpio.Level) error {
	err := p.PinIO.Out(l)
	if l == gpio.High {
		p.n++
		if p.b.high != nil {
			time.Sleep(p.b.high(p.n))
		}
		if p.b.fail != nil && p.b.fail(p.n) != nil {
			return p.b.fail(p.n)
		}
	}
	return err
}

// A frame in which the clock stood high gives no reading, whichever pulse it
// was and whatever input is read; the next ones are right again.
func TestScaleLate(t *testing.T) {
	for _, input := range []sensors.Bridge{sensors.A128, sensors.B32, sensors.A64} {
		want := map[sensors.Bridge]float64{sensors.A128: 6, sensors.B32: 0, sensors.A64: 3}[input]
		for _, high := range []time.Duration{51 * time.Microsecond, 61 * time.Microsecond, 3 * time.Millisecond} {
			for late := 1; late <= 25+int(input); late++ {
				onBoard(t, func(t *testing.T, b *sim.Board) {
					chip := &sim.HX711{Weight: steady(6), PerKilogram: 21500}
					b.AddHX711("GPIO5", "GPIO6", chip)
					frame := 25 + int(input) // pulses; the first frame is the one that chooses
					slow := &lazyBoard{Board: b, high: func(n int) time.Duration {
						if n == 2*frame+late {
							return high
						}
						return time.Microsecond
					}}
					s := hopperCell(slow, chip)
					s.Input = input
					got := 0
					for i := range 10 {
						for _, r := range s.Sense(time.Now(), nil) {
							got++
							if r.Status != sensors.Good || r.Value < want-1e-3 || r.Value > want+1e-3 {
								t.Fatalf("input %d, pulse %d for %v: call %d: %v %v, want %v", input, late, high, i, r.Status, r.Value, want)
							}
						}
						time.Sleep(500 * time.Millisecond)
					}
					lost := 3 // the wake, the choice, the late one
					if input != sensors.A128 {
						lost++ // and the choice once more
					}
					if got != 10-lost {
						t.Errorf("input %d, pulse %d for %v: %d readings of 10, want %d", input, late, high, got, 10-lost)
					}
				})
			}
		}
	}
}

// A board that is always too slow is a fault that says so.
func TestScaleAlwaysLate(t *testing.T) {
	onBoard(t, func(t *testing.T, b *sim.Board) {
		chip := &sim.HX711{Weight: steady(6), PerKilogram: 21500}
		b.AddHX711("GPIO5", "GPIO6", chip)
		s := hopperCell(&lazyBoard{Board: b, high: func(int) time.Duration { return 80 * time.Microsecond }}, chip)
		r, n := asked(t, s, 5)
		wantStatus(t, "hopper", r, sensors.NoAnswer)
		if n != 2 || !strings.Contains(r.Err.Error(), "too busy") {
			t.Errorf("%d readings in 5 s: %v", n, r.Err)
		}
	})
}

// A stuck or missing data wire is a fault after 2.5 s, and heals.
func TestScaleWire(t *testing.T) {
	for line, says := range map[sim.Line]string{sim.StuckHigh: "no frame is ready", sim.StuckLow: "stays low"} {
		onBoard(t, func(t *testing.T, b *sim.Board) {
			chip := &sim.HX711{Weight: steady(6), PerKilogram: 21500}
			b.AddHX711("GPIO5", "GPIO6", chip)
			s := hopperCell(b, chip)
			r, _ := asked(t, s, 3)
			wantStatus(t, "before", r, sensors.Good)
			chip.SetLine(line)
			if r, n := asked(t, s, 2); n != 0 {
				t.Errorf("%s: after 2 s: %v", says, r)
			}
			r, n := asked(t, s, 3)
			wantStatus(t, says, r, sensors.NoAnswer)
			if n != 3 || !strings.Contains(r.Err.Error(), says) || !strings.Contains(r.Err.Error(), "GPIO6") {
				t.Errorf("%d readings in 3 s: %v, want %q", n, r.Err, says)
			}
			chip.SetLine(sim.Intact)
			r, _ = asked(t, s, 3)
			wantStatus(t, "after", r, sensors.Good)
		})
	}
	onBoard(t, func(t *testing.T, b *sim.Board) { // no chip at all: the pull-up holds the line
		r, _ := asked(t, hopperCell(b, &sim.HX711{}), 4)
		wantStatus(t, "no chip", r, sensors.NoAnswer)
		if !strings.Contains(r.Err.Error(), "no frame is ready") {
			t.Errorf("no chip: %v", r.Err)
		}
	})
}

// A pin that the kernel refuses is looked for again.
func TestScalePinFails(t *testing.T) {
	onBoard(t, func(t *testing.T, b *sim.Board) {
		chip := &sim.HX711{Weight: steady(6), PerKilogram: 21500}
		b.AddHX711("GPIO5", "GPIO6", chip)
		broken := errors.New("line busy")
		lazy := &lazyBoard{Board: b}
		s := hopperCell(lazy, chip)
		asked(t, s, 3)
		lazy.fail = func(int) error { return broken }
		r, _ := asked(t, s, 4)
		wantStatus(t, "broken", r, sensors.NoAnswer)
		if !errors.Is(r.Err, broken) {
			t.Errorf("%v: does not say why", r.Err)
		}
		lazy.fail = nil
		r, _ = asked(t, s, 3)
		wantStatus(t, "after", r, sensors.Good)
	})
}

func TestScaleRefuses(t *testing.T) {
	onBoard(t, func(t *testing.T, b *sim.Board) {
		for what, spoil := range map[string]func(*sensors.Scale){
			"no full scale":   func(s *sensors.Scale) { s.FullScale = 0 },
			"no kg per count": func(s *sensors.Scale) { s.KgPerCount = 0 },
			"no such input":   func(s *sensors.Scale) { s.Input = 3 },
			"no clock":        func(s *sensors.Scale) { s.Clock = "" },
			"no data":         func(s *sensors.Scale) { s.Data = "" },
		} {
			s := hopperCell(b, &sim.HX711{})
			spoil(s)
			wantStatus(t, what, once(t, s), sensors.NoAnswer)
		}
	})
}

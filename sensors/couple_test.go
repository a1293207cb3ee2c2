package sensors_test

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"syscall"
	"testing"
	"time"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"

	"charwarden/sensors"
	"charwarden/sensors/its90"
	"charwarden/sensors/sim"
)

const (
	spi0  = "/dev/spidev0.0"
	every = 250 * time.Millisecond
)

// ownSelect is one type K couple on the port's own select.
func ownSelect(b *sim.Board, hot func(time.Time) float64) (*sensors.Couple, *sim.MAX31855) {
	chip := &sim.MAX31855{Type: its90.K, Hot: hot, Cold: steady(25)}
	b.AddMAX31855(spi0, "", chip)
	return &sensors.Couple{Channel: "wall", Bus: sensors.NewSPIBus(b), Port: spi0, Type: its90.K}, chip
}

// settled asks until the chip's first frames are over.
func settled(t *testing.T, c *sensors.Couple) sensors.Reading {
	t.Helper()
	for range 4 {
		rs := c.Sense(time.Now(), nil)
		time.Sleep(every)
		if len(rs) == 1 {
			honest(t, rs[0])
			return rs[0]
		}
	}
	t.Fatal("no reading within a second")
	return sensors.Reading{}
}

// six makes six couples on one port, each selected by its own GPIO.
func six(b *sim.Board) (couples []*sensors.Couple, chips []*sim.MAX31855, bus *sensors.SPIBus, want []float64) {
	bus = sensors.NewSPIBus(b)
	want = []float64{640, 310, 420.5, 95, 27, -12}
	for i, hot := range want {
		pin := fmt.Sprintf("GPIO%d", 5+i)
		chips = append(chips, &sim.MAX31855{Type: its90.K, Hot: steady(hot), Cold: steady(20 + float64(i))})
		b.AddMAX31855(spi0, pin, chips[i])
		bus.Claim(pin)
		couples = append(couples, &sensors.Couple{Channel: pin, Bus: bus, Port: spi0, Select: pin, Type: its90.K})
	}
	return couples, chips, bus, want
}

// Each of six chips on one port gives its own temperature, whichever of them
// is missing, and whatever level the selects had before.
func TestSixCouplesOnOnePort(t *testing.T) {
	onBoard(t, func(t *testing.T, b *sim.Board) {
		couples, chips, bus, want := six(b)
		defer bus.Close()
		for i := range couples { // as a boot loader may leave them: all selected
			p, _ := b.Pin(couples[i].Select)
			if err := p.Out(gpio.Low); err != nil {
				t.Fatal(err)
			}
		}
		for missing := -1; missing < len(chips); missing++ {
			if missing >= 0 {
				chips[missing].Power(false, time.Now())
			}
			for i, c := range couples {
				r := settled(t, c)
				if i == missing {
					wantStatus(t, c.Select, r, sensors.NoAnswer)
					continue
				}
				wantValue(t, c.Select, r, want[i], 1)
				if math.Abs(r.Cold-20-float64(i)) > 0.1 || r.Channel != c.Select {
					t.Errorf("%s: channel %s, cold junction %v, want %d", c.Select, r.Channel, r.Cold, 20+i)
				}
			}
			if missing >= 0 {
				chips[missing].Power(true, time.Now())
				time.Sleep(every)
			}
		}
	})
}

// The port's own select, to which another chip may be wired, stays high where
// the controller can do that; where it cannot, the couples are read all the same.
func TestCouplesLeaveThePortsOwnSelect(t *testing.T) {
	onBoard(t, func(t *testing.T, b *sim.Board) {
		couples, _, _, want := six(b)
		b.AddMAX31855(spi0, "", &sim.MAX31855{Type: its90.K, Hot: steady(1100), Cold: steady(31)})
		for i, c := range couples {
			wantValue(t, c.Select, settled(t, c), want[i], 1)
		}
	})
	onBoard(t, func(t *testing.T, b *sim.Board) {
		couples, _, _, want := six(b)
		bus := sensors.NewSPIBus(plainSPI{b})
		for i, c := range couples {
			bus.Claim(c.Select)
			c.Bus = bus
			wantValue(t, c.Select, settled(t, c), want[i], 1)
		}
	})
}

// plainSPI is a board whose controller cannot leave its own select alone.
type plainSPI struct{ *sim.Board }

func (p plainSPI) SPI(name string) (spi.PortCloser, error) {
	port, err := p.Board.SPI(name)
	return plainPort{port}, err
}

type plainPort struct{ spi.PortCloser }

func (p plainPort) Connect(f physic.Frequency, m spi.Mode, bits int) (spi.Conn, error) {
	if m&spi.NoCS != 0 {
		return nil, syscall.EINVAL
	}
	return p.PortCloser.Connect(f, m, bits)
}

// A select that cannot be raised may hold its chip selected: then none of the
// bus is read, for two would answer at once; it heals with the pin.
func TestCouplesWithoutPins(t *testing.T) {
	onBoard(t, func(t *testing.T, b *sim.Board) {
		couples, _, _, want := six(b)
		busy := errors.New("pin is busy")
		board := &pinless{b, busy}
		bus := sensors.NewSPIBus(board)
		for _, c := range couples {
			bus.Claim(c.Select)
			c.Bus = bus
		}
		for _, c := range couples {
			r := once(t, c)
			wantStatus(t, c.Select, r, sensors.NoAnswer)
			if !errors.Is(r.Err, busy) {
				t.Errorf("reason lost: %v", r.Err)
			}
			if first := couples[0].Select; !strings.Contains(r.Err.Error(), "select "+first+":") {
				t.Errorf("%v: does not name %s, the first of the file", r.Err, first)
			}
		}
		board.missing = nil
		for i, c := range couples {
			wantValue(t, c.Select, settled(t, c), want[i], 1)
		}
	})
}

// Fault bits D0..D2: MAX31855 datasheet 19-5793, table 2. A line that nobody
// drives reads all zeros or all ones.
func TestCoupleFaults(t *testing.T) {
	onBoard(t, func(t *testing.T, b *sim.Board) {
		c, chip := ownSelect(b, steady(500))
		wantValue(t, "whole", settled(t, c), 500, 1)
		for _, f := range []struct {
			couple sim.Couple
			want   sensors.Status
		}{{sim.Open, sensors.Open}, {sim.ToGND, sensors.ShortGND}, {sim.ToVCC, sensors.ShortVCC}} {
			chip.SetCouple(f.couple)
			time.Sleep(every) // the conversion under way is of the old couple
			settled(t, c)
			r := settled(t, c)
			wantStatus(t, f.want.String(), r, f.want)
			if r.Cold != 25 {
				t.Errorf("%v: cold junction %v, want 25", f.want, r.Cold)
			}
		}
		chip.SetCouple(sim.Whole)
		settled(t, c)
		wantValue(t, "mended", settled(t, c), 500, 1)
		for _, l := range []sim.Line{sim.StuckLow, sim.StuckHigh} {
			chip.SetLine(l)
			r := settled(t, c)
			wantStatus(t, "line stuck", r, sensors.NoAnswer)
			chip.SetLine(sim.Intact)
			wantValue(t, "line mended", settled(t, c), 500, 1)
		}
	})
}

func TestCouplePoweredLater(t *testing.T) {
	for _, idle := range []gpio.Level{gpio.Low, gpio.High} {
		onBoard(t, func(t *testing.T, b *sim.Board) {
			b.IdleMISO(spi0, idle)
			c, chip := ownSelect(b, steady(80))
			chip.Power(false, time.Now())
			for range 3 {
				r := once(t, c)
				wantStatus(t, "no power", r, sensors.NoAnswer)
				if !strings.Contains(r.Err.Error(), "no chip answers") {
					t.Errorf("%v", r.Err)
				}
				time.Sleep(every)
			}
			chip.Power(true, time.Now())
			healed := time.Now()
			for {
				rs := c.Sense(time.Now(), nil)
				if len(rs) == 1 && rs[0].Status == sensors.Good {
					wantValue(t, "powered", rs[0], 80, 1)
					break
				}
				if time.Since(healed) > time.Second {
					t.Fatalf("not healed: %v", rs)
				}
				time.Sleep(every)
			}
		})
	}
	onBoard(t, func(t *testing.T, b *sim.Board) { // not even the port is there
		c := &sensors.Couple{Channel: "wall", Bus: sensors.NewSPIBus(b), Port: spi0, Type: its90.K}
		wantStatus(t, "no port", once(t, c), sensors.NoAnswer)
		b.AddMAX31855(spi0, "", &sim.MAX31855{Type: its90.K, Hot: steady(80), Cold: steady(25)})
		wantValue(t, "port", settled(t, c), 80, 1)
	})
}

// A part for type R at 1700 degC behind settings for K says more than K can
// have: at least full scale, never a number.
func TestCoupleOverRange(t *testing.T) {
	onBoard(t, func(t *testing.T, b *sim.Board) {
		b.AddMAX31855(spi0, "", &sim.MAX31855{Type: its90.R, Hot: steady(1700), Cold: steady(25)})
		c := &sensors.Couple{Channel: "wall", Bus: sensors.NewSPIBus(b), Port: spi0, Type: its90.K}
		r := settled(t, c)
		wantStatus(t, "over range", r, sensors.ClippedHigh)
		if r.Value != 1372 || r.Cold != 25 { // end of the type K functions, NIST SRD 60
			t.Errorf("value %v, cold %v, want 1372 and 25", r.Value, r.Cold)
		}
	})
}

// Disturbed frames never become a good value further off than the place can
// move between two readings that it had.
func TestCoupleFlippedBits(t *testing.T) {
	const rate = 20.0 // degC/s
	for _, p := range []float64{0.05, 0.3} {
		onBoard(t, func(t *testing.T, b *sim.Board) {
			c, _ := ownSelect(b, steady(500))
			s, err := sensors.NewSweep([]sensors.Channel{{Name: "wall", Quantity: sensors.Temperature, Period: every, MaxRate: rate}}, nil, time.Now())
			if err != nil {
				t.Fatal(err)
			}
			s.Put(settled(t, c))
			last := time.Now()
			b.Flip(spi0, p)
			seen := map[sensors.Status]int{}
			for range 4000 {
				time.Sleep(every)
				for _, r := range c.Sense(time.Now(), nil) {
					s.Put(r)
				}
				r := s.Tick(time.Now())[0]
				honest(t, r)
				seen[r.Status]++
				if r.Status == sensors.Good {
					if off := math.Abs(r.Value - 500); off > rate*time.Since(last).Seconds()+1 {
						t.Fatalf("good %v at 500 degC", r.Value)
					}
					last = r.At
				}
			}
			if seen[sensors.Good] < 2000 || seen[sensors.Checksum] == 0 || seen[sensors.Jump] == 0 {
				t.Errorf("p %v: %v", p, seen)
			}
		})
	}
}

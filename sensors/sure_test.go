package sensors_test

import (
	"math"
	"testing"
	"time"

	"charwarden/sensors"
	"charwarden/sensors/sim"
)

// One answer in twenty with a flipped bit: what is taken for good is what the
// chip shows, also while its calibration is read.
func TestFlippedBitsOnI2C(t *testing.T) {
	onBoard(t, func(t *testing.T, b *sim.Board) {
		b.AddI2C(i2c1, airAddr, &sim.BMx280{Temperature: steady(18.5), Pressure: steady(97_300), Humidity: steady(0.62)})
		b.AddI2C(i2c1, 0x40, &sim.INA219{Bus: steady(5.02)})
		b.Flip(i2c1, 0.05)
		good := 0
		judge := func(r sensors.Reading, want, tol float64) {
			if r.Status != sensors.Good {
				return
			}
			good++
			if math.Abs(r.Value-want) > tol {
				t.Errorf("%s is %g, the chip shows %g", r.Channel, r.Value, want)
			}
		}
		bus := sensors.NewI2CBus(b, i2c1)
		for range 40 { // each reads its chip's calibration anew
			a := newAir(b)
			s := &sensors.Supply{Channel: "supply", Bus: bus, Addr: 0x40}
			for range 5 {
				rs := senseAir(t, a)
				judge(rs[0], 18.5, 0.1)
				judge(rs[1], 97_300, 20)
				judge(rs[2], 0.62, 0.01)
				judge(s.Sense(time.Now(), nil)[0], 5.02, 0.005)
			}
		}
		if good < 700 { // of 800
			t.Errorf("only %d readings were good", good)
		}
	})
}

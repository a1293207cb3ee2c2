package sim

import (
	"testing"
	"time"
)

// FuzzI2CChips sends any bytes at any times: each step is a length and a wait,
// then the bytes to write; the answer is read in odd sizes.
func FuzzI2CChips(f *testing.F) {
	f.Add([]byte{3, 0, 1, 0xc3, 0x83, 1, 200, 0})
	f.Add([]byte{4, 1, 0xf2, 1, 0xf4, 0x25, 1, 90, 0xf7, 2, 3, 0xe0, 0xb6})
	f.Add([]byte{3, 9, 5, 0xff, 0xff, 3, 9, 0, 0x80, 0, 1, 1, 2})
	f.Add([]byte{3, 0, 1, 0, 0, 3, 255, 1, 1, 0, 1, 255, 0})
	f.Fuzz(func(t *testing.T, data []byte) {
		value := func(now time.Time) float64 { return float64(now.UnixNano()%1000) - 300 }
		adc := &ADS1115{AIN: [4]func(time.Time) float64{value, value}, Noise: 1}
		air := &BMx280{Temperature: value, Pressure: value, Humidity: value}
		power := &INA219{Bus: value, Shunt: value}
		now := newHand().Now()
		tx := func(c Chip, w []byte, n int) []byte {
			r := make([]byte, n)
			if err := c.Tx(now, w, r); err != nil {
				t.Fatal(err)
			}
			return r
		}
		for len(data) >= 2 {
			n := min(int(data[0]), len(data)-2)
			now = now.Add(time.Duration(data[1]) * time.Duration(data[1]) * 100 * time.Microsecond)
			w := data[2 : 2+n]
			data = data[2+n:]
			for _, c := range []Chip{adc, air, power} {
				tx(c, w, n%9)
			}
			// What a chip is does not depend on what was said to it.
			if tx(air, []byte{0xd0}, 1)[0] != 0x60 {
				t.Fatal("BME280: id lost")
			}
			if cal := tx(air, []byte{0x88}, 2); cal[0] != 27504&255 || cal[1] != 27504>>8 {
				t.Fatalf("BME280: T1 is now % x", cal)
			}
			if n >= 3 && w[0]&3 == 1 {
				c := tx(adc, []byte{1}, 2)
				if c[0]&0x7f != w[1]&0x7f || c[1] != w[2] {
					t.Fatalf("ADS1115: config % x reads % x", w[1:3], c)
				}
			}
			if v := tx(power, []byte{5}, 2); v[1]&1 != 0 {
				t.Fatal("INA219: bit 0 of the calibration is set")
			}
		}
	})
}

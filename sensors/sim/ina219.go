package sim

import (
	"encoding/binary"
	"math"
	"sync"
	"time"
)

// INA219 is a supply monitor (datasheet SBOS448). Set the exported fields
// before it is added to a board.
//
//	write  pointer [hi lo]
//	read   hi lo
//
//	0 config   1 shunt, 10 uV   2 bus<<3 | ready<<1 | overflow, 4 mV
//	3 power    4 current = shunt*cal/4096    5 calibration
//
//	02 | 5D C2   3000 * 4 mV = 12.000 V, conversion ready
//
// Conversions are instantaneous: in a continuous mode the registers show the
// time of the read, in a triggered mode that of the last write to config.
type INA219 struct {
	Bus   func(time.Time) float64 // V at the load's side
	Shunt func(time.Time) float64 // V across the shunt; nil is 0 V

	mu    sync.Mutex
	awake bool
	ptr   byte
	reg   [6]uint16
}

const inaReset = 0x399f // 32 V, +-320 mV, 12 bit, continuous

// Tx is one transaction. Bytes read beyond the register are FF.
func (c *INA219) Tx(now time.Time, w, r []byte) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	if !c.awake {
		c.awake = true
		c.reg[0] = inaReset
	}
	if len(w) > 0 {
		c.ptr = w[0]
	}
	if len(w) >= 3 {
		c.write(now, binary.BigEndian.Uint16(w[1:]))
	}
	if c.reg[0]&7 > 4 {
		c.measure(now)
	}
	for i := range r {
		r[i] = 0xff
	}
	if int(c.ptr) < len(c.reg) && len(r) > 1 {
		binary.BigEndian.PutUint16(r, c.reg[c.ptr])
	}
	return nil
}

func (c *INA219) write(now time.Time, v uint16) {
	switch c.ptr {
	case 0:
		if v&0x8000 != 0 { // reset
			c.reg = [6]uint16{inaReset}
			v = inaReset
		}
		c.reg[0] = v
		if m := v & 7; m >= 1 && m <= 3 {
			c.measure(now)
		}
	case 5:
		c.reg[5] = v &^ 1 // bit 0 is always 0
	}
}

// measure fills the registers of what the mode asks for.
func (c *INA219) measure(now time.Time) {
	if c.reg[0]&1 != 0 {
		top := float64(int(4000) << (c.reg[0] >> 11 & 3)) // PGA: 40, 80, 160, 320 mV
		var v float64
		if c.Shunt != nil {
			v = c.Shunt(now)
		}
		c.reg[1] = uint16(int16(whole(v/10e-6, -top, top)))
	}
	current := int64(int16(c.reg[1])) * int64(c.reg[5]) / 4096
	overflow := current != int64(int16(current))
	if c.reg[0]&2 != 0 {
		top := 4000.0 // 16 V
		if c.reg[0]>>13&1 != 0 {
			top = 8000
		}
		c.reg[2] = uint16(whole(c.Bus(now)/4e-3, 0, top)) << 3
	}
	power := current * int64(c.reg[2]>>3) / 5000
	if power < 0 {
		power = -power
	}
	overflow = overflow || power > 0xffff
	c.reg[2] = c.reg[2]&^3 | 2
	if overflow {
		c.reg[2] |= 1
	}
	c.reg[3], c.reg[4] = uint16(power), uint16(int16(current))
}

// whole rounds v and clips it; NaN is 0.
func whole(v, lo, hi float64) float64 {
	if math.IsNaN(v) {
		return 0
	}
	return max(lo, min(hi, math.Round(v)))
}

package sim

import (
	"encoding/binary"
	"math"
	"sync"
	"time"
)

// Registers and configuration bits: ADS1115 datasheet SBAS444, section
// "Register Maps".
const (
	adsOS     = 1 << 15 // write 1: start; read 1: idle
	adsSingle = 1 << 8  // MODE: power-down and single shot

	adsConversion = 0
	adsConfig     = 1
	adsWake       = 25 * time.Microsecond // from power-down to the conversion, section "Single-Shot Mode"
)

var (
	adsRate  = [8]float64{8, 16, 32, 64, 128, 250, 475, 860}                      // DR, samples per second
	adsRange = [8]float64{6.144, 4.096, 2.048, 1.024, 0.512, 0.256, 0.256, 0.256} // PGA, +- V
	adsMux   = [8][2]int{{0, 1}, {0, 3}, {1, 3}, {2, 3}, {0, -1}, {1, -1}, {2, -1}, {3, -1}}
)

// ADS1115 is a 16 bit converter with four inputs (datasheet SBAS444). Set the
// exported fields before it is added to a board.
//
//	write  pointer [hi lo]     pointer 0 conversion, 1 config, 2, 3 thresholds
//	read   hi lo               of the register last pointed at
//
//	01 C3 83    config: start, AIN0 against ground, +-4.096 V, single, 128 SPS
//	00 | 3E 80  conversion: 16000 * 4.096/32768 = 2.000 V
//
// A conversion uses the configuration that was written when it started and
// gives the inputs at its end. While one is under way, OS reads 0 and a written
// OS has no effect. The comparator's registers are only kept. The zero value
// has all inputs at 0 V.
type ADS1115 struct {
	AIN        [4]func(time.Time) float64 // volts; nil is 0 V
	Noise      float64                    // V rms
	ClockError float64                    // +0.1 is 10 % slow, the datasheet's limit

	mu     sync.Mutex
	seed   uint64
	awake  bool // past its reset
	forced [4]bool
	force  [4]float64
	ptr    byte
	reg    [4]uint16 // config without OS
	busy   bool
	conf   uint16    // configuration of the conversion under way
	done   time.Time // when it ends
}

// SetClockError changes ClockError from the next conversion on.
func (d *ADS1115) SetClockError(e float64) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.ClockError = e
}

// Force holds an input, 0..3, at a voltage: a wire that touches a rail, a cell
// at its end. Free lets it go.
func (d *ADS1115) Force(input int, volts float64) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.forced[input], d.force[input] = true, volts
}

// Free undoes Force.
func (d *ADS1115) Free(input int) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.forced[input] = false
}

func (d *ADS1115) setSeed(s uint64) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.seed = s
}

// Tx is one transaction. Bytes read beyond the register are FF: nobody drives
// the wire (the datasheet is silent).
func (d *ADS1115) Tx(now time.Time, w, r []byte) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if !d.awake {
		d.awake = true
		d.reg = [4]uint16{0, 0x8583 &^ adsOS, 0x8000, 0x7fff}
	}
	d.run(now)
	if len(w) > 0 {
		d.ptr = w[0] & 3
	}
	if len(w) >= 3 && d.ptr != adsConversion {
		d.write(now, binary.BigEndian.Uint16(w[1:]))
	}
	v := d.reg[d.ptr]
	if d.ptr == adsConfig && !d.busy {
		v |= adsOS
	}
	for i := range r {
		r[i] = 0xff
	}
	if len(r) > 0 {
		r[0] = byte(v >> 8)
	}
	if len(r) > 1 {
		r[1] = byte(v)
	}
	return nil
}

func (d *ADS1115) write(now time.Time, v uint16) {
	if d.ptr != adsConfig {
		d.reg[d.ptr] = v
		return
	}
	d.reg[adsConfig] = v &^ adsOS
	if !d.busy && (v&adsOS != 0 || v&adsSingle == 0) {
		d.busy, d.conf = true, d.reg[adsConfig]
		d.done = now.Add(adsWake + d.period(v))
	}
}

// run lets conversions end up to now.
func (d *ADS1115) run(now time.Time) {
	if !d.busy || now.Before(d.done) {
		return
	}
	next := d.reg[adsConfig]
	if next&adsSingle != 0 {
		d.reg[adsConversion] = d.convert()
		d.busy = false
		return
	}
	p := d.period(next)
	if n := now.Sub(d.done) / p; n > 0 { // only the last of them can be seen
		d.done = d.done.Add(n * p)
		d.conf = next
	}
	d.reg[adsConversion] = d.convert()
	d.conf = next
	d.done = d.done.Add(p)
}

func (d *ADS1115) period(conf uint16) time.Duration {
	return time.Duration((1 + d.ClockError) / adsRate[conf>>5&7] * 1e9)
}

// convert returns the code of the conversion that ends at d.done, clipped.
func (d *ADS1115) convert() uint16 {
	mux := adsMux[d.conf>>12&7]
	v := d.volts(mux[0])
	if mux[1] >= 0 {
		v -= d.volts(mux[1])
	}
	if d.Noise > 0 {
		v += d.Noise * gauss(d.seed, d.done, mux[0])
	}
	n := math.Round(v / adsRange[d.conf>>9&7] * 32768)
	if math.IsNaN(n) {
		n = 0
	}
	return uint16(int16(max(-32768, min(32767, n))))
}

func (d *ADS1115) volts(input int) float64 {
	switch {
	case d.forced[input]:
		return d.force[input]
	case d.AIN[input] == nil:
		return 0
	}
	return d.AIN[input](d.done)
}

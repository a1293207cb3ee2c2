package ads1115

import (
	"math"
	"testing"
	"time"

	"periph.io/x/conn/v3/physic"
)

// noise is a bus on which anything answers: bytes from a fuzzer, repeated.
type noise struct {
	data  []byte
	at    int
	reads [][2]uint16 // register, value
	wrote uint16
	slept time.Duration
}

func (n *noise) String() string                  { return "noise" }
func (n *noise) SetSpeed(physic.Frequency) error { return nil }

func (n *noise) Tx(_ uint16, w, r []byte) error {
	if len(w) == 3 {
		n.wrote = uint16(w[1])<<8 | uint16(w[2])
	}
	for i := range r {
		r[i] = n.data[n.at%len(n.data)]
		n.at++
	}
	if len(r) == 2 {
		n.reads = append(n.reads, [2]uint16{uint16(w[0]), uint16(r[0])<<8 | uint16(r[1])})
	}
	return nil
}

// Never a number unless the settings read back as asked, idle; never more time
// than the two bounds together.
func FuzzRead(f *testing.F) {
	f.Add([]byte{0x85, 0x83, 0xc3, 0x87, 0x34, 0x53}, uint8(0), uint8(1), uint8(4))
	f.Add([]byte{0x85, 0x83, 0x43, 0x87, 0xc3, 0x87, 0x34, 0x53}, uint8(0), uint8(1), uint8(4))
	f.Add([]byte{0xff}, uint8(4), uint8(0), uint8(7))
	f.Add([]byte{0x00}, uint8(4), uint8(0), uint8(0))
	f.Fuzz(func(t *testing.T, data []byte, a, b, c uint8) {
		if len(data) == 0 {
			return
		}
		in, r, rate := Input(a)%inputs, Range(b)%ranges, Rate(c)%rates
		n := &noise{data: data}
		d := &Dev{bus: n, addr: 0x48, sleep: func(d time.Duration) { n.slept += d }}
		s, err := d.Read(in, r, rate)
		if most := rate.Period()*3/2 + SPS8.Period()*3/2 + 10*time.Millisecond; n.slept > most {
			t.Errorf("slept %v, at most %v", n.slept, most)
		}
		if err != nil {
			if !math.IsNaN(s.Volts) {
				t.Errorf("%v V beside %v", s.Volts, err)
			}
			return
		}
		last, settings := n.reads[len(n.reads)-1], len(n.reads)-1
		if n.reads[settings-1] != last {
			t.Errorf("result %04x was read once only", last)
		}
		for n.reads[settings][0] == regConversion {
			settings--
		}
		before := n.reads[settings]
		want := 0x8000 | uint16(in^4)<<12 | uint16(r)<<9 | 0x0100 | uint16(rate)<<5 | 7
		if n.wrote != want || before != [2]uint16{regConfig, want} {
			t.Errorf("value beside settings %04x, written %04x, asked %04x", before, n.wrote, want)
		}
		if last[0] != regConversion || s.Code != int16(last[1]) {
			t.Errorf("code %04x, chip said %04x", s.Code, last)
		}
	})
}

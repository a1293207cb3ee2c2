package sim

import (
	"testing"
	"time"

	"charwarden/sensors/its90"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/spi"
)

const port0 = "/dev/spidev0.0"

func coupleBoard(c *MAX31855) (*Board, *hand) {
	h := newHand()
	b := NewBoard(h, 1)
	b.AddMAX31855(port0, "", c)
	return b, h
}

// MAX31855 datasheet 19-5793, p. 10, tables 4 and 5.
func TestMAX31855Codes(t *testing.T) {
	for _, row := range published(t, "max31855_datasheet_codes.csv") {
		step, bits := 0.25, 14
		if row["field"][0] != 't' {
			step, bits = 0.0625, 12
		}
		if got, want := field(number(t, row["temp_C"]), step, bits), hex(t, row["hex"]); got != want {
			t.Errorf("%s %s: %#x, want %#x", row["field"], row["temp_C"], got, want)
		}
	}
}

// The chip's own law over ITS-90, computed by a second independent
// implementation; gain from datasheet 19-5793, table 1.
func TestMAX31855Law(t *testing.T) {
	for _, row := range published(t, "max31855_linearisation_K.csv") {
		c := &MAX31855{Type: its90.K, Hot: steady(number(t, row["true_hot_C"])), Cold: steady(number(t, row["true_cj_C"]))}
		b, _ := coupleBoard(c)
		if got, want := frameOf(t, connect(t, b, port0, spi.Mode0)), hex(t, row["frame_hex"]); got != want {
			t.Errorf("hot %s cold %s: %08x, want %08x", row["true_hot_C"], row["true_cj_C"], got, want)
		}
	}
}

// Every other part, at the temperature that fixes its gain: G = E(1000)/1000
// for all but T, which is E(400)/400 (NIST SRD 60 against datasheet table 1).
func TestMAX31855Gains(t *testing.T) {
	for letter := range gain {
		hot := 1000.0
		if letter == its90.T {
			hot = 400
		}
		c := &MAX31855{Type: letter, Hot: steady(hot), Cold: steady(0)}
		b, _ := coupleBoard(c)
		got := float64(int32(frameOf(t, connect(t, b, port0, spi.Mode0)))>>18) / 4
		if got < hot-0.25 || got > hot+0.25 {
			t.Errorf("type %s at %g: %g", letter, hot, got)
		}
	}
}

// Fault frames: bits of datasheet p. 10, table 2, at a cold junction of 25 degC.
func TestMAX31855Faults(t *testing.T) {
	frames := map[string]uint32{}
	for _, row := range published(t, "max31855_frames.csv") {
		frames[row["name"]] = hex(t, row["raw_hex"])
	}
	c := &MAX31855{Type: its90.K, Hot: steady(600), Cold: steady(25)}
	b, h := coupleBoard(c)
	conn := connect(t, b, port0, spi.Mode0)
	read := func() uint32 { h.pass(200 * time.Millisecond); return frameOf(t, conn) }
	for couple, name := range map[Couple]string{
		Open: "open circuit, CJ 25C", ToGND: "short to GND, CJ 25C", ToVCC: "short to VCC, CJ 25C",
		Shorted: "ambient 25/25",
	} {
		c.SetCouple(couple)
		if got, want := read(), frames[name]; got != want || want == 0 {
			t.Errorf("%s: %08x, want %08x", name, got, want)
		}
	}
	c.SetCouple(Reversed)
	if got := read(); int32(got)>>18 >= 25*4 || got>>16&1 != 0 {
		t.Errorf("reversed: %08x: not below the cold junction without a flag", got)
	}
	c.SetCouple(Whole)
	c.SetLine(StuckLow)
	if got := read(); got != 0 {
		t.Errorf("MISO low: %08x", got)
	}
	c.SetLine(StuckHigh)
	if got := read(); got != 0xffffffff {
		t.Errorf("MISO high: %08x", got)
	}
	c.SetLine(Intact)
	c.Hot = steady(1500) // beyond type K: 1372 degC (NIST SRD 60)
	if got := read(); got != frames["open circuit, CJ 25C"] {
		t.Errorf("1500 degC: %08x, want open", got)
	}
}

// Selecting the chip stops a conversion: a reader that comes again before the
// conversion's end sees one frame for ever.
func TestMAX31855FrozenWhenPolledTooFast(t *testing.T) {
	h := newHand()
	start := h.Now()
	b := NewBoard(h, 1)
	b.AddMAX31855(port0, "", &MAX31855{
		Type: its90.K, Cold: steady(20), Conversion: 100 * time.Millisecond,
		Hot: func(t time.Time) float64 { return 20 + 100*t.Sub(start).Seconds() },
	})
	c := connect(t, b, port0, spi.Mode0)
	first := frameOf(t, c)
	for range 50 {
		h.pass(99 * time.Millisecond)
		if got := frameOf(t, c); got != first {
			t.Fatalf("after %s: %08x, want frozen %08x", h.Now().Sub(start), got, first)
		}
	}
	for last := first; h.Now().Sub(start) < 8*time.Second; {
		h.pass(100 * time.Millisecond)
		got := frameOf(t, c)
		if got <= last {
			t.Fatalf("after %s: %08x did not rise from %08x", h.Now().Sub(start), got, last)
		}
		last = got
	}
}

func TestMAX31855Power(t *testing.T) {
	c := &MAX31855{Type: its90.K, Hot: steady(25), Cold: steady(25)}
	b, h := coupleBoard(c)
	conn := connect(t, b, port0, spi.Mode0)
	c.Power(false, h.Now())
	h.pass(time.Second)
	if got := frameOf(t, conn); got != 0 {
		t.Errorf("without power: %08x", got)
	}
	c.Power(true, h.Now())
	h.pass(199 * time.Millisecond)
	if got := frameOf(t, conn); got != 0 {
		t.Errorf("199 ms after power-up: %08x, want nothing yet", got)
	}
	h.pass(70 * time.Millisecond)
	if got := frameOf(t, conn); got != 0x01901900 {
		t.Errorf("after power-up: %08x, want 01901900", got)
	}
}

// A GPIO-selected chip answers only while its pin is low; a read may stop early
// and go on.
func TestMAX31855SelectPin(t *testing.T) {
	h := newHand()
	b := NewBoard(h, 1)
	b.AddMAX31855(port0, "GPIO5", &MAX31855{Type: its90.K, Hot: steady(25), Cold: steady(25)})
	c := connect(t, b, port0, spi.Mode0|spi.NoCS)
	if got := frameOf(t, c); got != 0 {
		t.Errorf("pin never driven: %08x", got)
	}
	b.IdleMISO(port0, gpio.High)
	if got := frameOf(t, c); got != 0xffffffff {
		t.Errorf("nobody selected, pull-up: %08x", got)
	}
	out(t, b, "GPIO5", gpio.Low)
	var r [2]byte
	for i, want := range []uint16{0x0190, 0x1900, 0} { // on through the frame, then low
		if err := c.Tx(nil, r[:]); err != nil {
			t.Fatal(err)
		}
		if got := uint16(r[0])<<8 | uint16(r[1]); got != want {
			t.Errorf("word %d: %04x, want %04x", i, got, want)
		}
	}
	out(t, b, "GPIO5", gpio.High)
	if got := frameOf(t, c); got != 0xffffffff {
		t.Errorf("released: %08x", got)
	}
}

// Two outputs that drive one wire: a zero of either wins.
func TestBusFight(t *testing.T) {
	b := NewBoard(newHand(), 1)
	b.AddMAX31855(port0, "", &MAX31855{Type: its90.K, Hot: steady(25), Cold: steady(25)})
	b.AddMAX31855(port0, "GPIO5", &MAX31855{Type: its90.K, Hot: steady(-1), Cold: steady(-1)})
	own, other := uint32(0x01901900), uint32(0xfff0ff00) // -1 degC, both fields
	c := connect(t, b, port0, spi.Mode0)
	if got := frameOf(t, c); got != own {
		t.Errorf("own select: %08x, want %08x", got, own)
	}
	out(t, b, "GPIO5", gpio.Low)
	if got := frameOf(t, c); got != own&other {
		t.Errorf("both selected: %08x, want %08x", got, own&other)
	}
	out(t, b, "GPIO5", gpio.High)
	out(t, b, "GPIO5", gpio.Low)
	if got := frameOf(t, connect(t, b, port0, spi.Mode0|spi.NoCS)); got != other {
		t.Errorf("NoCS: %08x, want %08x", got, other)
	}
}

func TestMAX31855NoisePerSeed(t *testing.T) {
	run := func(seed uint64) (frames [20]uint32) {
		h := newHand()
		b := NewBoard(h, seed)
		b.AddMAX31855(port0, "", &MAX31855{Type: its90.K, Hot: steady(400), Cold: steady(25), Noise: 1})
		c := connect(t, b, port0, spi.Mode0)
		for i := range frames {
			h.pass(200 * time.Millisecond)
			frames[i] = frameOf(t, c)
		}
		return frames
	}
	first, again, other := run(1), run(1), run(2)
	if first != again {
		t.Error("one seed, two answers")
	}
	if first == other {
		t.Error("two seeds, one answer")
	}
}

// A frame may be read in packets as long as the select stays low.
func TestMAX31855KeepCS(t *testing.T) {
	b, h := coupleBoard(&MAX31855{Type: its90.K, Hot: steady(25), Cold: steady(25)})
	c := connect(t, b, port0, spi.Mode0)
	for _, keep := range []bool{true, false} {
		h.pass(time.Second)
		var hi, lo [2]byte
		if err := c.TxPackets([]spi.Packet{{R: hi[:], KeepCS: keep}, {R: lo[:]}}); err != nil {
			t.Fatal(err)
		}
		want := [2]byte{0x19, 0x00}
		if !keep {
			want = [2]byte{0x01, 0x90} // the frame from its start
		}
		if hi != [2]byte{0x01, 0x90} || lo != want {
			t.Errorf("keep %t: % x, % x", keep, hi, lo)
		}
	}
}

func TestMAX31855TypeB(t *testing.T) {
	defer func() {
		if recover() == nil {
			t.Error("a part for type B, which nobody makes")
		}
	}()
	NewBoard(newHand(), 1).AddMAX31855(port0, "", &MAX31855{Type: its90.B, Hot: steady(25), Cold: steady(25)})
}

package max31855

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"periph.io/x/conn/v3/conntest"
	"periph.io/x/conn/v3/spi/spitest"

	"charwarden/sensors/its90"
)

var start = time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)

// ready returns a type-K Dev on the bus and the time at which it may be read.
func ready(t *testing.T, b *bus, o Opts) (*Dev, time.Time) {
	t.Helper()
	if b.frame == 0 {
		b.frame = good
	}
	o.Type = its90.K
	d, err := New(b, start, &o)
	if err != nil {
		t.Fatal(err)
	}
	b.log = nil
	return d, start.Add(PowerUp)
}

// Frames as the datasheet's examples (19-5793 p.10).
const (
	good Frame = 0x3E801900 // 1000 over 25 degC
	open Frame = 0x7FFD1901 // open circuit, cold junction 25 degC
)

// blank reports whether s holds no usable hot temperature.
func blank(s Sample) bool { return math.IsNaN(s.HotC) && math.IsNaN(s.ChipC) }

func TestSense(t *testing.T) {
	port := &spitest.Playback{Playback: conntest.Playback{DontPanic: true, Ops: []conntest.IO{
		{R: []byte{0x00, 0x00, 0x19, 0x00}}, // New
		{R: []byte{0x32, 0x78, 0x19, 0x00}}, // 807.5 over 25 degC
	}}}
	c, err := port.Connect(MaxClock, Mode, 8)
	if err != nil {
		t.Fatal(err)
	}
	d, err := New(c, start, &Opts{Type: its90.K})
	if err != nil {
		t.Fatal(err)
	}
	if got := d.String(); got != "MAX31855K{playback}" {
		t.Errorf("String: %q", got)
	}
	s, err := d.Sense(start.Add(PowerUp))
	if err != nil {
		t.Fatal(err)
	}
	// By hand from the printed table of NIST SRD 60: 41.276e-3*(807.5-25) + 1.000
	// = 33.298 mV; 800 degC is 33.275 and 801 degC 33.316 mV.
	if !near(s.HotC, 800.57, 0.02) || s.ChipC != 807.5 || s.ColdC != 25 || s.Fault != 0 || s.Frame != 0x32781900 {
		t.Errorf("%+v", s)
	}
	if err := port.Close(); err != nil {
		t.Error(err)
	}
	if err := d.Halt(); err != nil {
		t.Error(err)
	}
}

func TestNew(t *testing.T) {
	for name, tt := range map[string]struct {
		bus  bus
		want error
	}{
		"good":        {bus{frame: good}, nil},
		"open couple": {bus{frame: open}, nil},
		"absent":      {bus{frame: 0xFFFFFFFF}, ErrNoChip},
		"mute":        {bus{mute: true}, ErrNoChip},
		"noise":       {bus{frame: 0x01921900}, ErrFrame},
		"bus":         {bus{err: errBus}, errBus},
	} {
		d, err := New(&tt.bus, start, &Opts{Type: its90.K})
		if !errors.Is(err, tt.want) || (d == nil) != (tt.want != nil) {
			t.Errorf("%s: %v, %v, want %v", name, d, err, tt.want)
		}
		if err != nil && !strings.HasPrefix(err.Error(), "MAX31855K{bus}: ") {
			t.Errorf("%s: %q does not say where", name, err)
		}
	}
	for _, typ := range []its90.Type{its90.B, 0} {
		b := bus{frame: good}
		var te *TypeError
		_, err := New(&b, start, &Opts{Type: typ})
		if !errors.As(err, &te) || te.Type != typ || len(b.log) != 0 || !strings.Contains(err.Error(), "E J K N R S T") {
			t.Errorf("type %v: %v, %v", typ, err, b.log)
		}
	}
}

// TestPace: no read before the chip is due touches the bus.
func TestPace(t *testing.T) {
	b := &bus{}
	d, at := ready(t, b, Opts{})
	for _, step := range []struct {
		at   time.Time
		want error
		tx   int
	}{
		{start, ErrSettling, 0},
		{at.Add(-1), ErrSettling, 0},
		{at, nil, 1},
		{at, ErrBusy, 1},
		{at.Add(Conversion - 1), ErrBusy, 1},
		{at.Add(Conversion), nil, 2},
	} {
		s, err := d.Sense(step.at)
		if !errors.Is(err, step.want) || len(b.log) != step.tx || blank(s) != (step.want != nil) {
			t.Errorf("at %v: %+v, %v, %v", step.at.Sub(start), s, err, b.log)
		}
	}
	b.err = errBus
	if _, err := d.Sense(at.Add(2 * Conversion)); !errors.Is(err, errBus) {
		t.Error(err)
	}
	if _, err := d.Sense(at.Add(3*Conversion - 1)); !errors.Is(err, ErrBusy) {
		t.Errorf("a failed transfer may have stopped the conversion: %v", err)
	}
}

func TestSenseErrors(t *testing.T) {
	for name, tt := range map[string]struct {
		bus   bus
		coldC float64
		check func(error) bool
	}{
		"bus":                          {bus{err: errBus}, math.NaN(), is(errBus)},
		"nothing read":                 {bus{mute: true}, math.NaN(), is(ErrNoChip)},
		"all ones":                     {bus{frame: 0xFFFFFFFF}, math.NaN(), is(ErrNoChip)},
		"reserved bit":                 {bus{frame: 0x01901908}, math.NaN(), is(ErrFrame)},
		"open":                         {bus{frame: open}, 25, isFault(Open)},
		"short to GND":                 {bus{frame: 0x00011902}, 25, isFault(ShortGND)},
		"short to VCC":                 {bus{frame: 0x00011904}, 25, isFault(ShortVCC)},
		"all faults":                   {bus{frame: 0x00011907}, 25, isFault(7)},
		"fault, cold junction too hot": {bus{frame: Encode(0, 127, Open)}, math.NaN(), isFault(Open)},
		"cold junction too hot":        {bus{frame: 0x64007F00}, math.NaN(), isCold(127)},
		"cold junction too cold":       {bus{frame: 0xF060C900}, math.NaN(), isCold(-55)},
		"clock slip":                   {bus{frame: 0x57803C00}, 60, isRange(true)},
		"below the couple's range":     {bus{frame: Encode(-250, 25, 0)}, 25, isRange(false)},
	} {
		b := bus{}
		d, at := ready(t, &b, Opts{})
		b = tt.bus
		s, err := d.Sense(at)
		if !tt.check(err) || !blank(s) {
			t.Errorf("%s: %+v, %v", name, s, err)
			continue
		}
		if s.ColdC != tt.coldC && !(math.IsNaN(s.ColdC) && math.IsNaN(tt.coldC)) {
			t.Errorf("%s: cold junction %v, want %v", name, s.ColdC, tt.coldC)
		}
		if s.Frame != tt.bus.frame {
			t.Errorf("%s: frame %v, want %v", name, s.Frame, tt.bus.frame)
		}
		if !strings.HasPrefix(err.Error(), "MAX31855K{bus}: ") {
			t.Errorf("%s: %q does not say where", name, err)
		}
	}
}

func is(want error) func(error) bool {
	return func(err error) bool { return errors.Is(err, want) }
}

func isFault(want Fault) func(error) bool {
	return func(err error) bool {
		var fe *FaultError
		return errors.As(err, &fe) && fe.Fault == want
	}
}

func isCold(want float64) func(error) bool {
	return func(err error) bool {
		var ce *ColdError
		return errors.As(err, &ce) && ce.ColdC == want
	}
}

func isRange(high bool) func(error) bool {
	return func(err error) bool {
		var re *its90.RangeError
		return errors.As(err, &re) && re.High() == high
	}
}

// TestChipComesBack: after silence the first good frame is dropped, faulty or
// not; a disturbed one in between does not count.
func TestChipComesBack(t *testing.T) {
	for _, first := range []Frame{good, open} {
		b := &bus{}
		d, at := ready(t, b, Opts{})
		for i, step := range []struct {
			after time.Duration
			frame Frame
			want  error
			tx    bool
		}{
			{0, good, nil, true},
			{Conversion, 0xFFFFFFFF, ErrNoChip, true},
			{Conversion - 1, good, ErrBusy, false},
			{1, 0, ErrNoChip, true},
			{Conversion, 0x01921900, ErrFrame, true},
			{Conversion, first, ErrSettling, true},
			{Conversion, good, ErrSettling, false},
			{PowerUp - Conversion, good, nil, true},
		} {
			b.frame, b.log = step.frame, nil
			at = at.Add(step.after)
			s, err := d.Sense(at)
			if !errors.Is(err, step.want) || (len(b.log) == 1) != step.tx || blank(s) != (step.want != nil) {
				t.Errorf("step %d: %+v, %v, %v, want %v", i, s, err, b.log, step.want)
			}
		}
	}
}

// TestDisturbedFrameIsNoLoss: one bad frame costs one reading.
func TestDisturbedFrameIsNoLoss(t *testing.T) {
	b := &bus{}
	d, at := ready(t, b, Opts{})
	b.frame = 0x0C811900
	if s, err := d.Sense(at); !errors.Is(err, ErrFrame) || !blank(s) {
		t.Errorf("%+v, %v", s, err)
	}
	b.frame = good
	if s, err := d.Sense(at.Add(Conversion)); err != nil || blank(s) {
		t.Errorf("%+v, %v", s, err)
	}
}

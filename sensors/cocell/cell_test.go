package cocell

import (
	"errors"
	"math"
	"strings"
	"testing"
)

// A TGS5042 as sold: 1.525 nA/ppm, here on 1.2 Mohm (1.83 mV/ppm), 3.3 V rail.
func figaro() *Cell {
	return &Cell{NanoampPerPPM: 1.525, Ohms: 1.2e6, CleanAirV: 2.5, Inverting: true,
		FullScalePPM: 1000, Table: TGS5042, MaxV: 3.3}
}

// An ULPSM module: 4.75 nA/ppm on 100 kohm, zero at half the supply.
func module() *Cell {
	return &Cell{NanoampPerPPM: 4.75, Ohms: 100e3, CleanAirV: 1.65,
		FullScalePPM: 1000, Table: SPEC, MaxV: 3.3}
}

func TestEnds(t *testing.T) {
	low := module()
	low.CleanAirV = 0.02
	for _, c := range []struct {
		name      string
		cell      *Cell
		volts     float64
		clip      bool
		high      bool
		drift     bool
		wantsText string
	}{
		{"inverting, lower rail", figaro(), 0.009, true, true, false, "above range"},
		{"inverting, above full scale", figaro(), 2.5 - 1.831, true, true, false, "1000 ppm or more"},
		{"inverting, just in range", figaro(), 2.5 - 1.829, false, false, false, ""},
		{"inverting, upper rail", figaro(), 3.291, true, false, false, "no gas"},
		{"inverting, downscale", figaro(), 2.5 + 5.1*1.83e-3, false, false, true, "below zero"},
		{"inverting, small negative", figaro(), 2.5 + 4.9*1.83e-3, false, false, false, ""},
		{"upper rail", module(), 3.295, true, true, false, "above range"},
		{"above full scale", module(), 1.65 + 0.4751, true, true, false, "above range"},
		{"just in range", module(), 1.65 + 0.4749, false, false, false, ""},
		{"lower rail", module(), 0.005, true, false, false, "no gas"},
		{"downscale", module(), 1.65 - 0.0025, false, false, true, "below zero"},
		{"small negative", module(), 1.65 - 0.0023, false, false, false, ""},
		{"zero near ground, wire off", low, 0, true, false, false, "no gas"},
		{"infinite", module(), math.Inf(1), true, true, false, "above range"},
	} {
		ppm, err := c.cell.PPM(c.volts, 20)
		var clip *ClipError
		var drift *DriftError
		if errors.As(err, &clip) != c.clip || c.clip && clip.High() != c.high || errors.As(err, &drift) != c.drift {
			t.Errorf("%s: %v ppm, %v", c.name, ppm, err)
		}
		if bad := c.clip || c.drift; bad != math.IsNaN(ppm) || bad && !strings.Contains(err.Error(), c.wantsText) {
			t.Errorf("%s: %v ppm, %v", c.name, ppm, err)
		}
	}
	// A negative reading is a number, not 0.
	if ppm, err := module().PPM(1.65-0.0019, 20); err != nil || math.Abs(ppm+4) > 1e-9 {
		t.Errorf("%v ppm, %v, want -4", ppm, err)
	}
	if ppm, err := module().PPM(math.NaN(), 20); err == nil || !math.IsNaN(ppm) {
		t.Errorf("NaN V: %v ppm, %v", ppm, err)
	}
}

// In the cold the same gas gives less current; an unknown temperature is 20.
func TestTemperature(t *testing.T) {
	c := figaro()
	for temp, want := range map[float64]float64{math.NaN(): 100, 20: 100, 0: 100 / 0.844, 50: 100 / 1.132, -40: 100 / 0.752} {
		if ppm, err := c.PPM(2.5-0.183, temp); err != nil || math.Abs(ppm-want) > 1e-9 {
			t.Errorf("%v degC: %v ppm, %v, want %v", temp, ppm, err, want)
		}
	}
}

func TestVoltsStopsAtRails(t *testing.T) {
	if v := figaro().Volts(1e6, 20); v != 0 {
		t.Errorf("%v V", v)
	}
	if v := module().Volts(1e6, 20); v != 3.3 {
		t.Errorf("%v V", v)
	}
	if _, err := module().PPM(module().Volts(1e6, 20), 20); err == nil {
		t.Error("a cell at its rail gave a number")
	}
}

func TestUncertainty(t *testing.T) {
	c := figaro()
	bare := figaro()
	bare.Table = nil
	for _, u := range []struct {
		name      string
		got, want float64
	}{
		{"zero", c.Uncertainty(0, true), 5},
		{"100 ppm", c.Uncertainty(100, true), 20},
		{"negative", c.Uncertainty(-4, true), 5.6},
		// Figaro's CF at -10 degC is 0.752: the true value may be 33 % above.
		{"100 ppm, temperature unknown", c.Uncertainty(100, false), 20 + 100*(1/0.752-1)},
		// 0.6745 at -10 degC, whether the temperature is known or not.
		{"100 ppm, no table", bare.Uncertainty(100, true), 20 + 100*(1/0.6745-1)},
	} {
		if math.Abs(u.got-u.want) > 1e-9 {
			t.Errorf("%s: %v, want %v", u.name, u.got, u.want)
		}
	}
	// It covers what it is said to cover.
	for temp := -10.0; temp <= 50; temp++ {
		read, err := c.PPM(c.Volts(400, temp), math.NaN())
		if err != nil || math.Abs(read-400) > c.Uncertainty(read, false) {
			t.Errorf("400 ppm at %v degC unknown: %v +- %v, %v", temp, read, c.Uncertainty(read, false), err)
		}
	}
}

func TestValidate(t *testing.T) {
	for want, spoil := range map[string]func(*Cell){
		"":                                 func(*Cell) {},
		"sensitivity (nA/ppm) is 0":        func(c *Cell) { c.NanoampPerPPM = 0 },
		"sensitivity (nA/ppm) is NaN":      func(c *Cell) { c.NanoampPerPPM = math.NaN() },
		"resistor (ohm) is -1":             func(c *Cell) { c.Ohms = -1 },
		"full scale (ppm) is +Inf":         func(c *Cell) { c.FullScalePPM = math.Inf(1) },
		"clean air at 3.295 V":             func(c *Cell) { c.CleanAirV = 3.295 },
		"clean air at NaN V":               func(c *Cell) { c.CleanAirV = math.NaN() },
		"rails 0 V and 0 V":                func(c *Cell) { c.MaxV = 0 },
		"full scale of 1400 ppm needs":     func(c *Cell) { c.FullScalePPM = 1400 },
		"point 2 (20 degC): temperatures":  func(c *Cell) { c.Table = []Point{{20, 1}, {20, 1}} },
		"point 1 (0 degC, factor 0)":       func(c *Cell) { c.Table = []Point{{0, 0}} },
		"point 1 (NaN degC, factor 1)":     func(c *Cell) { c.Table = []Point{{math.NaN(), 1}} },
		"point 2 (10 degC): temperatures ": func(c *Cell) { c.Table = []Point{{20, 1}, {10, 0.9}} },
	} {
		c := figaro()
		spoil(c)
		err := c.Validate()
		if (err == nil) != (want == "") || err != nil && !strings.Contains(err.Error(), want) {
			t.Errorf("want %q: %v", want, err)
		}
	}
	if err := module().Validate(); err != nil {
		t.Error(err)
	}
	// Every fault is told, not only the first.
	if err := (&Cell{}).Validate(); err == nil || strings.Count(err.Error(), "cocell: ") != 4 {
		t.Errorf("zero cell: %v", err)
	}
}

// Any output is a number in range or an error; a number leads back to it.
func FuzzPPM(f *testing.F) {
	f.Add(2.3, 20.0, true)
	f.Add(1.66, -15.5, false)
	f.Add(3.3, math.NaN(), false)
	f.Fuzz(func(t *testing.T, volts, temp float64, inverting bool) {
		c := module()
		if inverting {
			c = figaro()
		}
		ppm, err := c.PPM(volts, temp)
		if err != nil {
			if !math.IsNaN(ppm) {
				t.Errorf("%v V: %v ppm beside %v", volts, ppm, err)
			}
			return
		}
		if !(ppm >= -5 && ppm <= 1000) {
			t.Errorf("%v V: %v ppm out of range", volts, ppm)
		}
		if back := c.Volts(ppm, temp); math.Abs(back-volts) > 1e-9 {
			t.Errorf("%v V at %v degC: %v ppm, back %v V", volts, temp, ppm, back)
		}
		if u := c.Uncertainty(ppm, false); !(u >= c.Uncertainty(ppm, true)) {
			t.Errorf("%v ppm: surer without a temperature: %v", ppm, u)
		}
	})
}

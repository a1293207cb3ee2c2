package sensors_test

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"charwarden/sensors"
	"charwarden/sensors/ads1115"
	"charwarden/sensors/membrane"
	"charwarden/sensors/sim"
)

// newMembrane is a sensor on AIN1 at +-6.144 V whose output is volts(now).
func newMembrane(b *sim.Board, law membrane.Law, volts func(time.Time) float64) *sensors.Membrane {
	chip := &sim.ADS1115{}
	chip.AIN[1] = volts
	b.AddI2C(i2c1, adcAddr, chip)
	return &sensors.Membrane{Channel: "p", ADC: &sensors.ADC{Bus: sensors.NewI2CBus(b, i2c1), Addr: adcAddr, Sleep: time.Sleep},
		Input: ads1115.AIN1, Range: ads1115.V6_144, Rate: ads1115.SPS250, Law: law, Divider: 1}
}

// rail is a supply that was measured just now.
func rail(v float64, s sensors.Status) *sensors.Latest {
	l := new(sensors.Latest)
	l.Put(sensors.Reading{At: time.Now(), Value: v, Raw: v, Status: s})
	return l
}

// Each voltage of a table that was computed from the datasheets' transfer
// formulas (MPXV7002 p. 6; MPX5010 Rev 13), through the converter and back:
// within one of its steps where the supply is measured.
func TestMembraneVectors(t *testing.T) {
	f, err := os.Open("../testdata/published/analog_pressure_vectors.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil || len(rows) < 20 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	num := func(s string) float64 {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	for _, row := range rows[1:] {
		name, _, _ := strings.Cut(row[0], "/")
		law, err := membrane.ByName(name)
		if err != nil {
			t.Fatal(err)
		}
		vs, pa, vout, lsb := num(row[1]), 1000*num(row[2]), num(row[3]), num(row[6])
		for divider, rng := range map[float64]ads1115.Range{1: ads1115.V6_144, 2. / 3: ads1115.V4_096} {
			onBoard(t, func(t *testing.T, b *sim.Board) {
				m := newMembrane(b, law, steady(vout*divider))
				m.Divider, m.Range, m.Supply = divider, rng, rail(vs, sensors.Good)
				got := once(t, m)
				wantValue(t, strings.Join(row, " "), got, pa, lsb)
				if got.Uncertainty != law.ZeroedPa {
					t.Errorf("%v: uncertainty %v with a measured supply, want %v", row, got.Uncertainty, law.ZeroedPa)
				}
			})
		}
	}
}

// A 4.8 V rail shifts the zero of the MPXV7002DP by 100 mV, which is 100 Pa
// where 5 V is assumed (its transfer function, datasheet MPXV7002 p. 6).
func TestMembraneSupplyNotMeasured(t *testing.T) {
	for _, c := range []struct {
		name   string
		supply func() *sensors.Latest
		want   float64
	}{
		{"measured", func() *sensors.Latest { return rail(4.8, sensors.Good) }, 0},
		{"not fitted", func() *sensors.Latest { return nil }, -100},
		{"not yet read", func() *sensors.Latest { return new(sensors.Latest) }, -100},
		{"not good", func() *sensors.Latest { return rail(4.8, sensors.Jump) }, -100},
		{"stale", func() *sensors.Latest {
			l := rail(4.8, sensors.Good)
			time.Sleep(3100 * time.Millisecond)
			return l
		}, -100},
	} {
		onBoard(t, func(t *testing.T, b *sim.Board) {
			m := newMembrane(b, membrane.MPXV7002DP, steady(2.4))
			m.Supply = c.supply()
			r := once(t, m)
			wantValue(t, c.name, r, c.want, 0.2)
			if grown := r.Uncertainty - membrane.MPXV7002DP.ZeroedPa; (grown != 0) != (c.want != 0) || grown < -c.want {
				t.Errorf("%s: uncertainty grown by %v, want at least %v", c.name, grown, -c.want)
			}
		})
	}
}

// Wherever in the datasheet's band the rail is, what is added to the
// uncertainty covers what not measuring it does, up to the ends of the range.
func TestMembraneUncertaintyCoversTheSupply(t *testing.T) {
	falling := membrane.MPXV7002DP
	falling.Slope = -falling.Slope
	for _, law := range append(membrane.Laws(), falling) {
		for _, vs := range []float64{law.MinV, 4.8, 5, 5.1, law.MaxV} {
			for share := 0.0; share <= 1; share += 0.05 {
				pa := law.LoPa + share*(law.HiPa-law.LoPa)
				onBoard(t, func(t *testing.T, b *sim.Board) {
					r := once(t, newMembrane(b, law, steady(law.Volts(pa, vs))))
					if r.Status != sensors.Good {
						return // clipped: counts as full scale
					}
					if off := math.Abs(r.Value - pa); off > r.Uncertainty-law.ZeroedPa+0.5 {
						t.Errorf("%s, %v V, %.0f Pa: off by %.0f Pa, stated %.0f beside %.0f of the sensor",
							law.Name, vs, pa, off, r.Uncertainty-law.ZeroedPa, law.ZeroedPa)
					}
				})
			}
		}
	}
}

func TestMembraneClips(t *testing.T) {
	for _, c := range []struct {
		name  string
		law   membrane.Law
		volts float64
		rng   ads1115.Range
		want  sensors.Status
		value float64
	}{
		{"above the range", membrane.MPX5010DP, 4.95, ads1115.V6_144, sensors.ClippedHigh, 10e3},
		{"a little above it", membrane.MPX5010DP, 4.9, ads1115.V6_144, sensors.Good, 0.94 / 0.09e-3},
		{"below the range", membrane.MPXV7002DP, 0.2, ads1115.V6_144, sensors.ClippedLow, -2e3},
		{"broken wire", membrane.MPX5010DP, 0.005, ads1115.V6_144, sensors.ClippedLow, 0},
		{"beyond the converter", membrane.MPX5010DP, 4.5, ads1115.V4_096, sensors.ClippedHigh, 10e3},
	} {
		onBoard(t, func(t *testing.T, b *sim.Board) {
			m := newMembrane(b, c.law, steady(c.volts))
			m.Range, m.Supply = c.rng, rail(5, sensors.Good)
			r := once(t, m)
			wantStatus(t, c.name, r, c.want)
			if math.Abs(r.Value-c.value) > 1 || r.Raw != r.Value {
				t.Errorf("%s: value %v, raw %v, want %v", c.name, r.Value, r.Raw, c.value)
			}
		})
	}
}

// A rail outside the datasheet's band makes no pressure, not a wrong one.
func TestMembraneSupplyOutsideItsBand(t *testing.T) {
	onBoard(t, func(t *testing.T, b *sim.Board) {
		m := newMembrane(b, membrane.MPXV7002DP, steady(2.25))
		m.Supply = rail(4.5, sensors.Good)
		wantStatus(t, "4.5 V", once(t, m), sensors.OutOfRange)
		b.NACK(i2c1, adcAddr, -1)
		wantStatus(t, "no chip", once(t, m), sensors.NoAnswer)
	})
}

package sensors

import (
	"cmp"
	"errors"
	"fmt"
	"time"

	"periph.io/x/conn/v3/physic"
	"periph.io/x/devices/v3/bmxx80"
)

// Air is a BMP280 or BME280. A channel with an empty name is not read; a
// BMP280 has no humidity, which is then reported as NoAnswer.
type Air struct {
	Temperature, Pressure, Humidity string
	Bus                             *I2CBus
	Addr                            uint16
	Out                             *Latest // where the temperature also goes; nil: nowhere

	dev  *bmxx80.Dev
	bus  shortOf
	sure sure
}

var errDry = errors.New("no humidity: the chip is a BMP280, which has none; leave the channel out or fit a BME280")

var errNoAir = errors.New("no air is like that: see the chip's power and wires")

// airTransfers is far more than a measurement needs (about 12 at 100 kHz, most of
// them twice).
const airTransfers = 200

// Sense takes one forced measurement.
func (a *Air) Sense(now time.Time, into []Reading) []Reading {
	env, err := a.measure()
	if err != nil {
		a.dev = nil
	}
	wet := err
	if err == nil && a.Humidity != "" && env.Humidity == 0 {
		wet = errDry
	}
	warm := airRange{-40, 85, env.Temperature.Celsius()}
	heavy := airRange{30000, 110000, float64(env.Pressure) / float64(physic.Pascal)}
	if err == nil {
		// Both are compensated by one calibration: nonsense in one is in all.
		err = cmp.Or(warm.check("degC"), heavy.check("Pa"))
		if wet = cmp.Or(err, wet); err != nil {
			a.dev = nil
		}
	}
	into = airReading(into, a.Temperature, now, warm.v, 1, err)
	if a.Out != nil && a.Temperature != "" {
		a.Out.Put(into[len(into)-1])
	}
	into = airReading(into, a.Pressure, now, heavy.v, 100, err)
	return airReading(into, a.Humidity, now, float64(env.Humidity)/float64(100*physic.PercentRH), 0.03, wet)
}

// airRange is a value and where the chip works: -40 to 85 degC and 300 to 1100
// hPa (Bosch BST-BMP280-DS001 and BST-BME280-DS002, operating range, from
// memory). The chip has no checksum: a dead one that pulls the wire low would
// else be read as a very cold day, and the CO cell corrected by it.
type airRange struct{ least, most, v float64 }

func (r airRange) check(unit string) error {
	if r.v >= r.least && r.v <= r.most {
		return nil
	}
	return fmt.Errorf("bmx280: %.4g %s: %w", r.v, unit, errNoAir)
}

func (a *Air) measure() (env physic.Env, err error) {
	bus, err := a.Bus.open()
	if err != nil {
		return env, err
	}
	a.bus.Bus, a.bus.left = bus, airTransfers
	a.sure.Bus = &a.bus
	if a.dev == nil {
		// Least oversampling: one measurement holds the bus for about 6 ms.
		opts := bmxx80.Opts{Temperature: bmxx80.O1x, Pressure: bmxx80.O1x, Humidity: bmxx80.O1x}
		if a.dev, err = bmxx80.NewI2C(&a.sure, a.Addr, &opts); err != nil {
			a.dev = nil
			return env, err
		}
	}
	return env, a.dev.Sense(&env)
}

// airReading appends a reading of one channel, which may be left out. The
// uncertainties are the absolute accuracies of the Bosch BST-BMP280-DS001 and
// BST-BME280-DS002, table 1 (from memory).
func airReading(into []Reading, channel string, now time.Time, v, u float64, err error) []Reading {
	switch {
	case channel == "":
		return into
	case errors.Is(err, errNoAir):
		return append(into, Bad(channel, now, OutOfRange, err))
	case err != nil:
		return append(into, Bad(channel, now, NoAnswer, err))
	}
	return append(into, Reading{Channel: channel, At: now, Value: v, Raw: v, Cold: nan, Uncertainty: u, Status: Good})
}

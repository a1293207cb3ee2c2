package sensors

import (
	"errors"
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

	dev *bmxx80.Dev
	bus shortOf
}

var errDry = errors.New("no humidity: the chip is a BMP280, which has none; leave the channel out or fit a BME280")

// airTransfers is far more than a measurement needs (about 12 at 100 kHz).
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
	into = airReading(into, a.Temperature, now, env.Temperature.Celsius(), 1, err)
	if a.Out != nil && a.Temperature != "" {
		a.Out.Put(into[len(into)-1])
	}
	into = airReading(into, a.Pressure, now, float64(env.Pressure)/float64(physic.Pascal), 100, err)
	return airReading(into, a.Humidity, now, float64(env.Humidity)/float64(100*physic.PercentRH), 0.03, wet)
}

func (a *Air) measure() (env physic.Env, err error) {
	bus, err := a.Bus.open()
	if err != nil {
		return env, err
	}
	a.bus.Bus, a.bus.left = bus, airTransfers
	if a.dev == nil {
		// Least oversampling: one measurement holds the bus for about 6 ms.
		opts := bmxx80.Opts{Temperature: bmxx80.O1x, Pressure: bmxx80.O1x, Humidity: bmxx80.O1x}
		if a.dev, err = bmxx80.NewI2C(&a.bus, a.Addr, &opts); err != nil {
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
	case err != nil:
		return append(into, Bad(channel, now, NoAnswer, err))
	}
	return append(into, Reading{Channel: channel, At: now, Value: v, Raw: v, Cold: nan, Uncertainty: u, Status: Good})
}

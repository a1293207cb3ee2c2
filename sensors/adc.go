package sensors

import (
	"errors"
	"time"

	"charwarden/sensors/ads1115"
)

// ADC is one ADS1115, shared by the sensors on its inputs; all of them belong
// to the same owner.
type ADC struct {
	Bus   *I2CBus
	Addr  uint16
	Sleep func(time.Duration)

	dev *ads1115.Dev
}

// read takes one conversion. After a bus error the chip is proved anew.
func (a *ADC) read(in ads1115.Input, rng ads1115.Range, rate ads1115.Rate) (ads1115.Sample, error) {
	if a.dev == nil {
		bus, err := a.Bus.open()
		if err != nil {
			return ads1115.Sample{}, err
		}
		dev, err := ads1115.New(bus, a.Addr, &ads1115.Opts{Sleep: a.Sleep})
		if err != nil {
			return ads1115.Sample{}, err
		}
		a.dev = dev
	}
	s, err := a.dev.Read(in, rng, rate)
	if err != nil && adcStatus(err) == NoAnswer {
		a.dev = nil
	}
	return s, err
}

func adcStatus(err error) Status {
	if errors.Is(err, ads1115.ErrMux) || errors.Is(err, ads1115.ErrBits) {
		return Checksum
	}
	return NoAnswer
}

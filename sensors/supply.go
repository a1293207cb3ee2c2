package sensors

import (
	"fmt"
	"time"

	"periph.io/x/conn/v3/physic"
	"periph.io/x/devices/v3/ina219"
)

// Supply is an INA219 that measures a supply voltage.
type Supply struct {
	Channel string
	Bus     *I2CBus
	Addr    uint16
	Out     *Latest // where the voltage also goes; nil: nowhere

	dev  *ina219.Dev
	sure sure
}

// Sense takes one reading of the bus voltage. The uncertainty is 0.5 % and one
// step of 4 mV (TI SBOS448, electrical characteristics, from memory).
func (s *Supply) Sense(now time.Time, into []Reading) []Reading {
	v, err := s.measure()
	r := Reading{Channel: s.Channel, At: now, Value: v, Raw: v, Cold: nan, Uncertainty: 0.005*v + 0.004, Status: Good}
	if err != nil {
		s.dev = nil
		r = Bad(s.Channel, now, NoAnswer, err)
	}
	if s.Out != nil {
		s.Out.Put(r)
	}
	return append(into, r)
}

func (s *Supply) measure() (float64, error) {
	bus, err := s.Bus.open()
	if err != nil {
		return 0, err
	}
	if s.dev == nil {
		s.sure.Bus = bus
		if s.dev, err = ina219.New(&s.sure, &ina219.Opts{Address: int(s.Addr)}); err != nil {
			s.dev = nil
			return 0, fmt.Errorf("ina219: chip %#02x: %w", s.Addr, err)
		}
	}
	p, err := s.dev.Sense()
	if err != nil {
		return 0, fmt.Errorf("ina219: chip %#02x: %w", s.Addr, err)
	}
	return float64(p.Voltage) / float64(physic.Volt), nil
}

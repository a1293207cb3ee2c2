package sensors

import (
	"errors"
	"fmt"
	"time"

	"charwarden/sensors/tacho"
)

// Shaft is the engine's speed from pulses on a pin. It waits for edges for
// most of its period and so has an Owner of its own.
type Shaft struct {
	Channel string
	Board   Board
	Pin     string
	Opts    tacho.Opts
	Every   time.Duration // how long one reading waits for edges: the whole period

	dev   *tacho.Dev
	until time.Time
}

// Sense waits for edges until the next reading is due and reckons the speed.
func (s *Shaft) Sense(now time.Time, into []Reading) []Reading {
	if s.dev == nil {
		dev, err := s.find()
		if err != nil {
			return append(into, Bad(s.Channel, now, NoAnswer, err))
		}
		s.dev = dev
	}
	if s.until = s.until.Add(s.Every); s.until.Before(now) || s.until.Sub(now) > s.Every {
		s.until = now.Add(s.Every)
	}
	rpm, err := s.dev.Sense(s.until)
	if errors.Is(err, tacho.ErrUnsettled) {
		return into
	}
	if err != nil {
		s.dev = nil
		return append(into, Bad(s.Channel, now, NoAnswer, err))
	}
	return append(into, Reading{Channel: s.Channel, At: s.Opts.Now(), Value: rpm, Raw: rpm, Cold: nan, Status: Good})
}

func (s *Shaft) find() (*tacho.Dev, error) {
	p, err := s.Board.Pin(s.Pin)
	if err != nil {
		return nil, fmt.Errorf("tacho: %s: %w", s.Pin, err)
	}
	return tacho.New(p, &s.Opts)
}

package sensors

import (
	"bytes"
	"errors"

	"periph.io/x/conn/v3/i2c"
)

// sure is a bus whose answers are believed when they came twice the same: chips
// without a checksum have nothing else that tells a flipped bit from a value, and
// one in a calibration that is read once would stay wrong for as long as the
// chip answers. Asking again must change nothing in the chip.
type sure struct {
	i2c.Bus
	was []byte
}

// sureAsks is how often an answer is asked for at most. A value that changes
// between two of them is there again in the next two.
const sureAsks = 5

var errUnsure = errors.New("no two answers of the chip are the same: see its wires and the bus's pull-up resistors")

func (s *sure) Tx(addr uint16, w, r []byte) error {
	err := s.Bus.Tx(addr, w, r)
	for range sureAsks - 1 {
		if err != nil || len(r) == 0 {
			return err
		}
		s.was = append(s.was[:0], r...)
		if err = s.Bus.Tx(addr, w, r); err == nil && bytes.Equal(s.was, r) {
			return nil
		}
	}
	if err == nil {
		err = errUnsure
	}
	return err
}

package ads1115

import "math"

// Sample is one conversion. Its zero value is 0 V.
type Sample struct {
	Volts float64 // at the pin; NaN beside an error
	Code  int16   // as the chip gave it
	Clip  int8    // +1: code 7FFF, at or above full scale; -1: code 8000; 0: inside
}

func sample(code int16, r Range) Sample {
	s := Sample{Volts: r.volts(code), Code: code}
	switch code {
	case math.MaxInt16:
		s.Clip = 1
	case math.MinInt16:
		s.Clip = -1
	}
	return s
}

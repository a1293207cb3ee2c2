package ads1115

import (
	"fmt"
	"time"
)

// Rate is the data rate: slower conversions are quieter. The chip keeps it
// within 10 %. The zero value is 8 SPS.
type Rate uint8

const (
	SPS8 Rate = iota
	SPS16
	SPS32
	SPS64
	SPS128
	SPS250
	SPS475
	SPS860
	rates
)

var perSecond = [rates]int{8, 16, 32, 64, 128, 250, 475, 860}

// SPS returns the nominal conversions per second, 0 for a Rate that does not
// exist.
func (r Rate) SPS() int {
	if r >= rates {
		return 0
	}
	return perSecond[r]
}

// Period returns the nominal time of one conversion, 0 for a Rate that does
// not exist.
func (r Rate) Period() time.Duration {
	if r >= rates {
		return 0
	}
	return time.Second / time.Duration(perSecond[r])
}

// String returns the rate as "128SPS".
func (r Rate) String() string {
	if r >= rates {
		return fmt.Sprintf("rate(%d)", uint8(r))
	}
	return fmt.Sprintf("%dSPS", perSecond[r])
}

// RateFor returns the slowest rate of at least minSPS, which is 1..860.
func RateFor(minSPS int) (Rate, error) {
	if minSPS > 0 {
		for r, sps := range perSecond {
			if sps >= minSPS {
				return Rate(r), nil
			}
		}
	}
	return 0, fmt.Errorf("ads1115: rate of %d SPS: outside 1..860", minSPS)
}

package exposure

import "math"

// HeavyB is the B of the linear form for heavy work, min·mmHg/ml, as UL 2034
// has it: 1/60 + 713/30000. restB is the one for rest: 1/30 + 713/6000 (its
// lung figures from memory).
const (
	HeavyB = 0.0404
	restB  = 1.0/30 + 713.0/6000
)

// Linear returns the percentage of haemoglobin that CO holds after breathing
// ppm for minutes, begun with percent: the linear CFK form of NIOSH 1972 and UL
// 2034, held within 0 and 99, for it knows no end by itself. b is positive.
//
// Every constant follows from physiology: 218 is haldane's ratio at 0.20 ml of
// O2 per ml of blood and 100 mmHg, 2398 = 5500·218·0.20/100, 1316 = 1e6/760.
func Linear(b, percent, ppm, minutes float64) float64 {
	left := math.Exp(-minutes / (2398 * b))
	y := percent*left + 218*(1-left)*(ownCO*b+ppm/1316)
	return min(max(y, 0), 100*mostPart)
}

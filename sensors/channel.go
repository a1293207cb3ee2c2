package sensors

import "time"

// Quantity is what a channel measures; it fixes the unit.
type Quantity uint8

const (
	Temperature  Quantity = iota // degC
	Pressure                     // Pa
	CO                           // ppm
	Speed                        // rpm
	Voltage                      // V
	Humidity                     // ratio, 0..1
	Age                          // s since something was last done or last right
	Mean                         // ppm of CO, averaged over a time
	COHb                         // percent of the blood's haemoglobin that CO holds
	Ratio                        // to a reference, 1 = as the reference
	GasFlow                      // Nm3/h: at 0 degC and 101.325 kPa, wet
	Mass                         // kg
	MassFlow                     // kg/h
	HeatingValue                 // MJ/Nm3, lower
	Power                        // W
	Difference                   // K between two temperatures
	Thickness                    // mm
	Leak                         // Pa/min that a closed vessel loses
	Loading                      // percent of the dust a filter may hold: 0 = clean, 100 = due
	Quantities                   // how many there are
)

// Unit returns the SI unit, as in MQTT payloads.
func (q Quantity) Unit() string {
	return [Quantities]string{"degC", "Pa", "ppm", "rpm", "V", "ratio", "s", "ppm", "percent", "ratio",
		"Nm3/h", "kg", "kg/h", "MJ/Nm3", "W", "K", "mm", "Pa/min", "percent"}[q]
}

// Channel is a named place of measurement and what is known of it. Names are
// the operator's and never shift when a chip is missing.
type Channel struct {
	Name     string
	Quantity Quantity
	Period   time.Duration // between two readings

	// A reading becomes gain*(raw - zero) + offset. Gain is positive, so that the
	// top of a range stays its top; 0 counts as 1.
	Gain, Offset float64

	// Plausibility; zero values leave a check out. None of them ever applies to
	// a CO channel: a rise of CO is never a fault.
	MaxRate     float64       // fastest change that the place can make, unit/s
	FrozenAfter time.Duration // unchanged this long while another moves is a fault
	HotWith     []string      // thermocouples that are hot only when this one is

	// Zero is set for a pressure that is zeroed with the engine off.
	Zero *ZeroBand
}

// StaleAfter is the age at which a reading is no longer live: three periods,
// at least 1 s, at most 3 s.
func (c Channel) StaleAfter() time.Duration {
	return min(max(3*c.Period, time.Second), 3*time.Second)
}

func (c Channel) gain() float64 {
	if c.Gain == 0 {
		return 1
	}
	return c.Gain
}

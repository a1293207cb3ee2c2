package sensors

import "fmt"

// Status says whether a reading may be used as a value or, if not, why not.
// The zero value is Unknown: nothing has been read yet. Only Good is a value;
// ClippedHigh and ClippedLow count as at least full scale for a limit on that
// side and for nothing else.
type Status uint8

const (
	Unknown     Status = iota // no reading yet
	Good                      // a value
	Open                      // broken wire or couple
	ShortGND                  // shorted to ground
	ShortVCC                  // shorted to the supply
	NoAnswer                  // the chip is absent, mute or refused by the bus
	OutOfRange                // outside what the sensor or the place can have
	ClippedHigh               // at or above the top of the range
	ClippedLow                // at or below the bottom of the range
	Frozen                    // unchanged while others move
	Jump                      // a step that the place cannot make
	Checksum                  // a frame that contradicts itself
	Stale                     // too old to be called live
	Unzeroed                  // pressure without a zero: full uncertainty
	statuses                  // how many there are
)

// The words that the outside sees: MQTT payloads, metric labels, replay files.
var statusWords = [statuses]string{
	"unknown", "good", "open", "short_gnd", "short_vcc", "no_answer",
	"out_of_range", "clipped_high", "clipped_low", "frozen", "jump",
	"checksum", "stale", "unzeroed",
}

// String returns the word for s, as in MQTT payloads and metric labels.
func (s Status) String() string {
	if s >= statuses {
		return fmt.Sprintf("status(%d)", uint8(s))
	}
	return statusWords[s]
}

// ParseStatus is the inverse of String.
func ParseStatus(word string) (Status, error) {
	for i, w := range statusWords {
		if w == word {
			return Status(i), nil
		}
	}
	return Unknown, fmt.Errorf("status: %q: unknown word (allowed: %v)", word, statusWords)
}

// Statuses lists every status from Unknown on, for tables and metrics.
func Statuses() []Status {
	all := make([]Status, statuses)
	for i := range all {
		all[i] = Status(i)
	}
	return all
}

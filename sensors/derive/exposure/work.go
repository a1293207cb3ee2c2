package exposure

import "fmt"

// Work is how hard the person works, and so how fast they breathe. The zero
// value is Moderate.
type Work uint8

const (
	Moderate Work = iota
	Rest
	Light
	Heavy
	VeryHeavy
	works
)

var workWords = [works]string{"moderate", "rest", "light", "heavy", "very_heavy"}

// breaths of each Work. Source: COHb.R, a public R source file; the name of
// the fifth is ours.
var breaths = [works]lungs{
	Rest:      {20, 6},
	Light:     {25, 12},
	Moderate:  {30, 18},
	Heavy:     {40, 24},
	VeryHeavy: {50, 30},
}

// String returns the word for w.
func (w Work) String() string {
	if w >= works {
		return fmt.Sprintf("work(%d)", uint8(w))
	}
	return workWords[w]
}

// ParseWork is the inverse of String.
func ParseWork(word string) (Work, error) {
	for i, w := range workWords {
		if w == word {
			return Work(i), nil
		}
	}
	return 0, fmt.Errorf("work: %q: unknown word (allowed: rest, light, moderate, heavy, very_heavy)", word)
}

// COHb returns the percentage of haemoglobin that CO holds after breathing ppm
// for minutes at this work, begun with percent: the non-linear CFK equation.
// Both percentages are within 0 and 99, ppm within 0 and 1 000 000.
func (w Work) COHb(percent, ppm, minutes float64) float64 {
	return breaths[w].cohb(percent, ppm, minutes)
}

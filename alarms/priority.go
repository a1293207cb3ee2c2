package alarms

import "fmt"

// Priority of an alarm, rising.
type Priority uint8

const (
	Notice   Priority = iota // shown and logged, no horn
	Caution                  // one chirp
	High                     // "alarm": horn
	Evacuate                 // horn, latched, never shelvable
	priorities
)

var priorityWords = [priorities]string{"notice", "caution", "alarm", "evacuate"}

// String returns the word that the outside sees.
func (p Priority) String() string {
	if p >= priorities {
		return fmt.Sprintf("priority(%d)", uint8(p))
	}
	return priorityWords[p]
}

// ParsePriority is the inverse of String.
func ParsePriority(word string) (Priority, error) {
	for i, w := range priorityWords {
		if w == word {
			return Priority(i), nil
		}
	}
	return 0, fmt.Errorf("priority: %q: unknown word (allowed: %v)", word, priorityWords)
}

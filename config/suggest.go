package config

import (
	"fmt"
	"slices"
	"strings"
)

// didYouMean returns `, did you mean "x"?` for the nearest of the words, if
// one is near: at most a third of its letters differ, or it goes on where word ends.
func didYouMean(word string, words []string) string {
	best, least := "", 3
	for _, w := range words {
		if d := distance(strings.ToLower(word), strings.ToLower(w)); d < least && d <= max(1, len(w)/3) {
			best, least = w, d
		}
	}
	if best == "" && len(word) > 3 {
		longer := slices.DeleteFunc(slices.Clone(words), func(w string) bool { return !strings.HasPrefix(w, strings.ToLower(word)+"_") })
		if len(longer) == 1 { // password, for password_file
			best = longer[0]
		}
	}
	if best == "" {
		return ""
	}
	return fmt.Sprintf(", did you mean %q?", best)
}

// distance counts the letters to add, drop or change from a to b
// (Levenshtein). Far apart lengths are not counted out.
func distance(a, b string) int {
	if len(a) > len(b)+3 || len(b) > len(a)+3 {
		return len(a) + len(b)
	}
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			change := diagonal
			if a[i] != b[j] {
				change++
			}
			diagonal = row[j+1]
			row[j+1] = min(change, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(b)]
}

package config

import (
	"regexp"
	"strings"
	"unicode/utf8"
)

// What may be a secret in a line that is shown, or in a file that is stored: a
// login in an address, also without its scheme, and a password in plain words.
// None is allowed in the file, but people try, and leave old ones in comments.
var (
	login   = regexp.MustCompile(`(?:://[^"'@\n]+|[^\s"'=@:/]+:[^\s"'@/][^\s"'@]*)@`)
	spoken  = regexp.MustCompile(`(?i)\b(?:password|passphrase|passwd|secret|token)\s*[=:]\s*\S.*$`)
	noted   = regexp.MustCompile(`(?im)^[ \t]*#.*\b(?:password|passphrase|passwd|secret|token)[ \t]*[=:][ \t]*[^\s].*$`)
	toValue = regexp.MustCompile(`[=:]\s*`)
)

// veil puts stars over them in one line, each over one letter, so that a caret
// below it stays in its place.
func veil(line string) string {
	return spoken.ReplaceAllStringFunc(veilLogins(line), starValue)
}

// veilText does so in a whole file, in addresses and comments only: what is not
// a comment is still to be read.
func veilText(text string) string {
	return noted.ReplaceAllStringFunc(veilLogins(text), veil)
}

func veilLogins(text string) string {
	return login.ReplaceAllStringFunc(text, func(s string) string {
		s = strings.TrimSuffix(s, "@")
		rest, addressed := strings.CutPrefix(s, "://")
		if addressed {
			return "://" + stars(rest) + "@"
		}
		return stars(s) + "@"
	})
}

func starValue(s string) string {
	at := toValue.FindStringIndex(s)
	return s[:at[1]] + stars(s[at[1]:])
}

func stars(s string) string { return strings.Repeat("*", utf8.RuneCountInString(s)) }

package main

import (
	"strings"
	"unicode/utf8"
)

// slot is one channel, or the title of a group.
type slot struct {
	text, mark string
	title      bool
}

// packed fills columns of a height; a title does not end one, and stands again
// over what its group has in the next.
func packed(slots []slot, height int) (columns [][]slot) {
	var now []slot
	var title slot
	for i, c := range slots {
		if len(now) >= height || c.title && len(now) == height-1 && height > 1 && i+1 < len(slots) {
			columns, now = append(columns, now), nil
			if !c.title && height > 2 {
				now = append(now, title)
			}
		}
		if c.title {
			title = c
		}
		now = append(now, c)
	}
	if len(now) > 0 {
		columns = append(columns, now)
	}
	return columns
}

// beside puts columns beside each other.
func (s *screen) beside(columns [][]slot, of int) (lines []string) {
	wide := min(s.width/of, columnWidth+4)
	high := 0
	for _, c := range columns {
		high = max(high, len(c))
	}
	for i := range high {
		var b strings.Builder
		for j, c := range columns {
			w := wide - 1 // a gap
			if j == of-1 {
				w = min(wide, s.width-j*wide)
			}
			text := ""
			mark := ""
			if i < len(c) {
				text, mark = c[i].text, c[i].mark
			}
			b.WriteString(s.paint(mark, pad(text, w)))
			if j < len(columns)-1 {
				b.WriteString(strings.Repeat(" ", wide-w))
			}
		}
		lines = append(lines, strings.TrimRight(b.String(), " "))
	}
	return lines
}

// paint marks a text where that is wanted.
func (s *screen) paint(mark, text string) string {
	if !s.colour || mark == "" || strings.TrimSpace(text) == "" {
		return text
	}
	return "\x1b[" + mark + "m" + text + markOff
}

// line is one line that fits.
func (s *screen) line(mark, text string) string {
	return s.paint(mark, strings.TrimRight(pad(text, min(s.width, utf8.RuneCountInString(text))), " "))
}

// wrap breaks a text into at most so many lines that fit.
func (s *screen) wrap(mark, before, text string, most int) []string {
	lines := wrapped(before, text, s.width, most)
	for i := range lines {
		lines[i] = s.line(mark, lines[i])
	}
	return lines
}

// wrapped breaks a text at its spaces into at most so many lines of a width. The
// first begins with before, and the others under it.
func wrapped(before, text string, width, most int) (lines []string) {
	indent := strings.Repeat(" ", utf8.RuneCountInString(before))
	now, empty := before, true
	for _, w := range strings.Fields(text) {
		if !empty && len(lines) < most-1 && utf8.RuneCountInString(now)+1+utf8.RuneCountInString(w) > width {
			lines, now, empty = append(lines, now), indent, true
		}
		if !empty {
			now += " "
		}
		now, empty = now+w, false
	}
	return append(lines, strings.TrimRight(now, " "))
}

// pad fits a text into exactly w characters; what is cut ends in "~", and what
// is no character of a line is left out.
func pad(text string, w int) string {
	text = strings.Map(printable, text)
	if n := utf8.RuneCountInString(text); n <= w {
		return text + strings.Repeat(" ", w-n)
	}
	return string([]rune(text)[:max(0, w-1)]) + "~"
}

// toRight is pad with the text at the right end.
func toRight(text string, w int) string {
	if n := utf8.RuneCountInString(text); n < w {
		return strings.Repeat(" ", w-n) + text
	}
	return pad(text, w)
}

package main

import (
	"fmt"
	"strconv"
	"strings"
	"time"
)

// How far a trend looks back, and how often it keeps what the channels showed.
const (
	trendSpan  = 10 * time.Minute
	trendEvery = 10 * time.Second
)

// trend is what the channels showed while `watch` ran, by the daemon's clock.
type trend struct {
	now  time.Time
	past []keptOnce // oldest first
}

// keptOnce is what the good channels showed once.
type keptOnce struct {
	at     time.Time
	values map[string]float64
}

// take keeps an answer. A clock that went back begins it anew.
func (t *trend) take(l liveRow) {
	at, err := time.Parse(time.RFC3339, l.Time)
	if err != nil {
		return
	}
	if at.Before(t.now) {
		t.past = nil
	}
	t.now = at
	for len(t.past) > 1 && !t.past[1].at.After(at.Add(-trendSpan)) || len(t.past) == 1 && at.Sub(t.past[0].at) > trendSpan+trendEvery {
		t.past = t.past[1:]
	}
	if n := len(t.past); n > 0 && at.Sub(t.past[n-1].at) < trendEvery {
		return
	}
	k := keptOnce{at, make(map[string]float64, len(l.Readings))}
	for _, r := range l.Readings {
		if r.Value != nil {
			k.values[r.Channel] = *r.Value
		}
	}
	t.past = append(t.past, k)
}

// span is how far back it looks now; 0 while that is too short to tell.
func (t *trend) span() time.Duration {
	if len(t.past) == 0 || t.now.Sub(t.past[0].at) < trendEvery {
		return 0
	}
	return t.now.Sub(t.past[0].at)
}

// legend says what the last column is.
func (t *trend) legend() string {
	if d := t.span(); d > 0 {
		return "Change: over " + ageText(d) + ". "
	}
	return ""
}

// change of a channel over the span, as the person reads its value; "" where
// that is not known. It is the difference of what was shown, so that it fits what a
// person saw.
func (t *trend) change(s *screen, r readingRow) string {
	if t.span() == 0 || r.Value == nil || r.AtLeast || r.Quantity == "age" {
		return ""
	}
	was, ok := t.past[0].values[r.Channel]
	if !ok {
		return ""
	}
	then, _, _ := strings.Cut(s.value(r, was), " ")
	now, _, _ := strings.Cut(s.value(r, *r.Value), " ")
	a, err := strconv.ParseFloat(then, 64)
	b, err2 := strconv.ParseFloat(now, 64)
	if err != nil || err2 != nil {
		return ""
	}
	_, digits, _ := strings.Cut(now, ".")
	text := fmt.Sprintf("%+.*f", len(digits), b-a)
	if strings.Trim(text, "+-0.") == "" {
		return "0"
	}
	return text
}

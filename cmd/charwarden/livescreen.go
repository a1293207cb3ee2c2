package main

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"charwarden/alarms"
	"charwarden/config"
	"charwarden/sensors"
)

// Marks of what is not ordinary, in SGR codes of ECMA-48 8.3.117. Whatever has
// one says it in words, too.
const (
	markBad   = "1;31" // bold, red
	markWarn  = "1;33" // bold, yellow
	markTitle = "1"
	markOff   = "\x1b[0m"
)

// screen lays out what `watch` shows.
type screen struct {
	cfg    *config.Config // nil: SI
	width  int
	height int // lines; 0: as many as it needs
	colour bool
}

// columnWidth is what one column of channels needs: mark, name, value, change.
const (
	columnWidth = 39
	nameWidth   = 17
	valueWidth  = 12
	changeWidth = 8
)

// draw is the screen while the daemon answers; its answer is so old.
func (s *screen) draw(l *liveRow, t *trend, age time.Duration) []string {
	head := s.head(l, age)
	foot := []string{"", s.line("", t.legend()+"An aid, not a certified life-safety device. Ctrl-C ends.")}
	room := 0
	if s.height > 0 {
		room = max(1, s.height-len(head)-len(foot))
	}
	body, hidden := s.body(l, t, room)
	if hidden > 0 {
		foot[0] = s.line("", fmt.Sprintf("%d channels more on a larger screen, or: charwarden watch --once | less", hidden))
	}
	all := slices.Concat(head, body, foot)
	if s.height > 0 && len(all) > s.height {
		all = all[:s.height]
	}
	return all
}

// gone is the screen while the daemon does not answer: no value stands on it.
func (s *screen) gone(age time.Duration, why error) []string {
	lines := []string{
		s.line(markTitle, "charwarden watch"), "",
		s.line(markBad, "NO ANSWER from the daemon for "+ageText(age)+": no value is shown."),
		s.line(markBad, "Nobody may be watching the rig: watch it yourself, from upwind."), "",
		s.line("", "See whether it runs: systemctl status charwarden"),
	}
	if why != nil {
		lines = append(lines, s.wrap("", "", why.Error(), 3)...)
	}
	lines = append(lines, "", s.line("", "This screen goes on asking. Ctrl-C ends."))
	if s.height > 0 && len(lines) > s.height {
		lines = lines[:s.height]
	}
	return lines
}

// head: how old it is, phase, permit, alarms and likely causes.
func (s *screen) head(l *liveRow, age time.Duration) []string {
	lines := []string{
		s.line(markTitle, fmt.Sprintf("%s  %s  the daemon answered %s ago", l.Rig, localTime(l.Time), tenths(age))),
		s.line("", s.phase(l)+permitText(l.Permit)),
	}
	stand := slices.DeleteFunc(slices.Clone(l.Alarms), func(r levelRow) bool { return !r.stands() })
	bad := map[string]string{}
	for _, r := range l.Readings {
		if r.Value == nil {
			bad[r.Channel] = r.Status
		}
	}
	lines = append(lines, s.alarms(stand, len(l.Alarms)-len(stand), bad)...)
	if why := causeLine(l.Causes); why != "" {
		lines = append(lines, s.line("", why))
	}
	return append(lines, "")
}

func tenths(d time.Duration) string { return fmt.Sprintf("%.1f s", max(0, d).Seconds()) }

func ageText(d time.Duration) string {
	return config.Display{}.Format(sensors.Age, d.Round(time.Second).Seconds())
}

// phase says what the rig does and for how long.
func (s *screen) phase(l *liveRow) string {
	r := l.Phase
	if r.Phase == nil {
		return "phase not known yet"
	}
	text := strings.ToUpper(*r.Phase)
	if r.Since != nil {
		now, err := time.Parse(time.RFC3339, l.Time)
		since, err2 := time.Parse(time.RFC3339, *r.Since)
		if err == nil && err2 == nil {
			text += " for " + ageText(max(0, now.Sub(since)))
		}
	}
	switch {
	case !r.Forced:
	case r.Inferred == nil:
		text += ", by hand"
	default:
		text += ", by hand; the readings say " + *r.Inferred
	}
	if r.Cold != nil && *r.Cold > 0 {
		text += ", walls at 60 °C in " + leftText(*r.Cold)
	}
	return text
}

func permitText(p permitRow) string {
	line := strings.TrimSpace(p.line())
	if line == "" {
		return ""
	}
	return "   " + line
}

// alarms: those that stand, the worst on top with what to do first. bad are the
// channels without a value.
func (s *screen) alarms(stand []levelRow, aside int, bad map[string]string) []string {
	var lines []string
	most := max(1, s.height/6)
	if s.height == 0 {
		most = len(stand)
	}
	first := firstOut(stand)
	for i, r := range stand[:min(most, len(stand))] {
		text := fmt.Sprintf("%-8s %s", strings.ToUpper(r.Priority), r.Name)
		switch bad, known := bad[r.Channel]; {
		case r.Limit == nil:
		case known: // what the rule judged by last is not what is now
			text += "  " + bad + " (limit " + r.figure(s.cfg, r.Limit) + ")"
		case r.Value != nil:
			text += "  " + r.figure(s.cfg, r.Value) + " (limit " + r.figure(s.cfg, r.Limit) + ")"
		}
		text += "  " + r.State
		if note := r.note(r.Order != nil && *r.Order == first); note != "" {
			text += "  " + note
		}
		lines = append(lines, s.line(markOf(r.Priority), text))
		if i == 0 && r.DoFirst != nil {
			lines = append(lines, s.wrap(markOf(r.Priority), "  first: ", *r.DoFirst, most+1)...)
		}
	}
	more := ""
	if n := len(stand) - min(most, len(stand)); n > 0 {
		more = fmt.Sprintf("%d more stand: charwarden alarms", n)
	} else if n == 0 && len(stand) == 0 {
		more = "no alarm stands"
	}
	if aside > 0 {
		more = strings.TrimPrefix(more+fmt.Sprintf("; %d put aside: charwarden alarms", aside), "; ")
	}
	if more != "" {
		lines = append(lines, s.line("", more))
	}
	return lines
}

func markOf(priority string) string {
	switch p, err := alarms.ParsePriority(priority); {
	case err != nil || p >= alarms.High:
		return markBad
	case p == alarms.Caution:
		return markWarn
	}
	return markTitle
}

// causeLine is what may be wrong, in a line; "" where there is nothing to say.
func causeLine(causes []causeRow) string {
	var words []string
	for _, c := range causes {
		if c.Cause == "not_enough" {
			continue
		}
		word := c.Means
		if c.Certainty != c.Cause {
			word = strings.ReplaceAll(c.Certainty, "_", " ") + ": " + word
		}
		words = append(words, word)
	}
	if len(words) == 0 {
		return ""
	}
	return "may be wrong: " + strings.Join(words, "; ")
}

// The ranks of channels: where room is short, those of the last go first.
const (
	rankTrouble = iota // bad, or an alarm of it is there
	rankMain
	rankMore
	rankRest
	rankSilent // reckoned, and there is nothing to reckon now
)

func rankOf(r readingRow, alarmed map[string]bool) int {
	silent := r.Value == nil && r.Derived
	switch {
	case alarmed[r.Channel], r.Value == nil && !r.Derived:
		return rankTrouble
	case silent && r.Status == sensors.Unknown.String():
		return rankSilent
	case !r.Derived && r.Group != groupInstrument, mainly(r):
		return rankMain
	case r.Group == groupInstrument, r.Quantity == "age", silent:
		return rankRest
	}
	return rankMore
}

// mainly are the reckoned channels that matter as much as measured ones.
func mainly(r readingRow) bool {
	switch r.Channel {
	case "gas_flow", "filter_loading", "charcoal_left", "charcoal_time":
		return true
	}
	return r.Quantity == "cohb" && strings.HasSuffix(r.Channel, "_linear") || strings.HasSuffix(r.Channel, "_mean_5min")
}

// body is the channels by group, in as many columns as there is room for;
// hidden is how many of them had none.
func (s *screen) body(l *liveRow, t *trend, room int) (lines []string, hidden int) {
	marked, alarmed := map[string]bool{}, map[string]bool{}
	for _, a := range l.Alarms {
		if a.stands() {
			marked[a.Channel] = true
			alarmed[a.Channel] = alarmed[a.Channel] || !a.gone()
		}
	}
	rows := slices.Clone(l.Readings)
	slices.SortStableFunc(rows, func(a, b readingRow) int { return cmp.Compare(groupPlace(a.Group), groupPlace(b.Group)) })
	all, ranks, inOrder := make([]slot, len(rows)), make([]int, len(rows)), make([]int, len(rows))
	for i, r := range rows {
		all[i], ranks[i], inOrder[i] = s.slot(r, marked[r.Channel], t), rankOf(r, alarmed), i
	}
	slices.SortStableFunc(inOrder, func(a, b int) int { return cmp.Compare(ranks[a], ranks[b]) })
	columns := max(1, min(4, s.width/columnWidth))
	if room == 0 {
		columns = min(2, columns)
	}
	for n := len(rows); n > 0; n-- {
		shown := slices.Sorted(slices.Values(inOrder[:n]))
		var slots []slot
		for j, i := range shown {
			if j == 0 || rows[shown[j-1]].Group != rows[i].Group {
				slots = append(slots, slot{strings.ToUpper(rows[i].Group), markTitle, true})
			}
			slots = append(slots, all[i])
		}
		high := room
		if room == 0 {
			high = (len(slots) + columns - 1) / columns
			for len(packed(slots, high)) > columns {
				high++
			}
		}
		if packs := packed(slots, high); len(packs) <= columns {
			return s.beside(packs, columns), len(rows) - n
		}
	}
	return nil, len(rows)
}

// groupPlace is where a group stands; one of a newer daemon comes last.
func groupPlace(g string) int {
	if i := slices.Index(groupOrder, g); i >= 0 {
		return i
	}
	return len(groupOrder)
}

// slot is a channel's line: a number only where it has a value.
func (s *screen) slot(r readingRow, marked bool, t *trend) slot {
	c := slot{text: " "}
	if marked {
		c = slot{text: "!", mark: markWarn}
	}
	c.text += pad(r.Channel, nameWidth)
	if r.Value != nil {
		value := s.value(r, *r.Value)
		if r.AtLeast {
			value = ">=" + value
		}
		c.text += toRight(value, valueWidth) + toRight(t.change(s, r), changeWidth)
		return c
	}
	status, unknown := r.Status, r.Status == sensors.Unknown.String()
	if r.AgeS != nil && *r.AgeS > liveFor.Seconds() && !unknown {
		status += ", " + ageText(time.Duration(*r.AgeS*float64(time.Second))) + " old"
	}
	if !r.Derived || !unknown {
		c.mark = markWarn
	}
	c.text += "  " + pad(status, valueWidth+changeWidth-2)
	return c
}

// value is a channel's value as this person wants to read it.
func (s *screen) value(r readingRow, v float64) string {
	var d config.Display
	if s.cfg != nil {
		d = s.cfg.Display
	}
	if i := slices.Index(quantityWords[:], r.Quantity); i >= 0 {
		return d.Format(sensors.Quantity(i), v)
	}
	return fmt.Sprintf("%.4g %s", v, r.Unit)
}

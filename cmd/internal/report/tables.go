package report

import (
	"cmp"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"

	"charwarden/cmd/internal/runlog"
	"charwarden/sensors"
)

// alarms is the table of what alarmed.
func (p *page) alarms(r *run) {
	p.raw("<h2>Alarms</h2>\n")
	if len(r.episodes) == 0 {
		p.para("", "Nothing alarmed in this run. That says only that no limit was passed where something was measured.")
		return
	}
	var rows [][]string
	told := map[string]bool{}
	for i := range r.episodes {
		e := &r.episodes[i]
		if told[e.alarm] {
			continue
		}
		if same := r.often(e.alarm); len(same) >= often {
			told[e.alarm] = true
			rows = append(rows, r.oftenRow(same))
			continue
		}
		rows = append(rows, r.alarmCells(e))
	}
	p.table("alarms", []string{"Alarm", "Came", "Priority", "Value", "Limit", "Lasted", "Seen by"}, rows)
}

// often is from how many times on the same fault has one row.
const often = 4

// often are the times that a fault came, if it has no limit and no more than that
// is to be told of it.
func (r *run) often(alarm string) (all []*episode) {
	for i := range r.episodes {
		if e := &r.episodes[i]; e.alarm == alarm {
			if !math.IsNaN(e.limit) {
				return nil
			}
			all = append(all, e)
		}
	}
	return all
}

// oftenRow is the row of a fault that came again and again.
func (r *run) oftenRow(all []*episode) []string {
	first, last := all[0], all[len(all)-1]
	var sum, most int64
	seen := 0
	for _, e := range all {
		sum, most = sum+r.lasted(e), max(most, r.lasted(e))
		if e.acked > 0 {
			seen++
		}
	}
	return []string{fmt.Sprintf("%d.–%d. %s, %d times", first.number, last.number, first.alarm, len(all)) + "\n" + first.means, r.stamp(first.from) + " to " + r.stamp(last.from),
		first.priority, "", "", span(sum) + " in all, " + span(most) + " at most", fmt.Sprintf("%d of %d times", seen, len(all))}
}

// alarmCells is the row of one time that an alarm stood.
func (r *run) alarmCells(e *episode) []string {
	name := e.alarm
	var tags []string
	for _, t := range []struct {
		on   bool
		word string
	}{{e.firstOut, "first out"}, {e.test, "test gas"}, {e.restored, "stood before a restart"}} {
		if t.on {
			tags = append(tags, t.word)
		}
	}
	if tags != nil {
		name += " (" + strings.Join(tags, ", ") + ")"
	}
	value := r.figure(e, e.value)
	if w := r.figure(e, e.worst); w != "" && w != value {
		value += ", worst " + w
	}
	lasted := span(r.lasted(e))
	if e.to == 0 {
		lasted += ", to the end"
	}
	seen := "nobody"
	if e.acked > 0 {
		seen = strings.TrimPrefix(e.by+", "+r.stamp(e.acked), ", ")
	} else if !e.open {
		seen = "not needed, or not in the log"
	}
	return []string{fmt.Sprintf("%d. %s\n%s", e.number, name, e.means), r.stamp(e.from), e.priority, value, r.figure(e, e.limit), lasted, seen}
}

// stamp is a moment for a table.
func (r *run) stamp(ms int64) string {
	if !r.told() {
		return "+" + span(ms-r.from)
	}
	return r.hms(ms)
}

// noteValue is a note's number, in the reader's unit where it is a mass.
func (r *run) noteValue(n *runlog.Note) string {
	v, unit := *n.Value, n.Unit
	switch unit {
	case "kg":
		m := r.measure(sensors.Mass)
		v, unit = m.shown(v), m.name
	case "percent":
		unit = "%"
	}
	return fixed(v, digitsOf(v)) + " " + unit
}

// noteText is what a note says.
func (r *run) noteText(n *runlog.Note) string {
	if n.Text == "" && n.Value != nil {
		return r.noteValue(n)
	}
	return n.Text
}

// notebook is what people noted and asked for.
func (p *page) notebook(r *run) {
	p.raw("<h2>Notebook and commands</h2>\n")
	var rows [][]string
	type entry struct {
		ms   int64
		cols []string
	}
	var all []entry
	for _, n := range r.notes {
		if n.Ms > r.end {
			continue
		}
		who := n.Person
		if who == "" {
			who = "charwarden"
		}
		all = append(all, entry{n.Ms, []string{r.stamp(n.Ms), who, n.Kind, r.noteText(&n)}})
	}
	for _, c := range r.commands {
		if c.Ms > r.end || c.Verb == "note" && c.Err == "" {
			continue
		}
		text := wordsOf(c.Body)
		if c.Err != "" {
			text = strings.TrimSpace(text + " (refused: " + c.Err + ")")
		}
		all = append(all, entry{c.Ms, []string{r.stamp(c.Ms), c.Person, "command " + c.Verb, text}})
	}
	slices.SortStableFunc(all, func(a, b entry) int { return cmp.Compare(a.ms, b.ms) })
	for _, e := range all {
		rows = append(rows, e.cols)
	}
	if rows == nil {
		p.para("", "Nothing was noted. A batch, kilograms in and left, the return's setting and the load make runs comparable: charwarden note.")
		return
	}
	p.table("notes", []string{"When", "Who", "What", "Said"}, rows)
}

// wordsOf is the JSON of an order as words: "alarm co_alarm, seq 3".
func wordsOf(body string) string {
	var m map[string]any
	if json.Unmarshal([]byte(body), &m) != nil {
		return body
	}
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	for i, k := range keys {
		keys[i] = fmt.Sprintf("%s %v", k, m[k])
	}
	return strings.Join(keys, ", ")
}

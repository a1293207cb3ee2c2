package report

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// Of the picture of what happened, px on the narrowest screen.
const (
	storyWide  = 326.
	mostAlarms = 14 // rows
)

// story is the picture of what happened when: phases, alarms, marks of the
// notebook and gaps over one time axis.
func (p *page) story(r *run) {
	x := r.times(r.from, r.end)
	at := func(ms int64) float64 { return 100 * max(0, min(1, x.share(float64(ms)))) }
	p.raw("<h2>What happened when</h2>\n<div class=\"story\">")
	if len(r.phases) > 0 {
		p.raw(`<div class="lane">`)
		for _, ph := range r.phases {
			a, b := at(ph.from), at(ph.to)
			name := ph.name
			if name == "" {
				name = "?"
			}
			if w := (b - a) / 100 * storyWide; w < 5.6*float64(len(name)) {
				name = ""
			}
			p.rawf(`<b class="phase %s" style="left:%.2f%%;width:%.2f%%" title="`, tint(ph.name), a, b-a).text(ph.name).raw(`">`).text(name).raw("</b>")
		}
		p.raw("</div>")
	}
	p.marks(r, at)
	rows, more := r.alarmRows()
	for _, row := range rows {
		p.alarmRow(r, row, at)
	}
	if len(r.holes) > 0 {
		p.raw(`<div class="lane">`)
		for _, h := range r.holes {
			p.rawf(`<b class="hole" style="left:%.2f%%;width:%.2f%%"></b>`, at(h.from), at(h.to)-at(h.from))
		}
		p.beside("nothing written", at(r.holes[0].from), at(r.holes[len(r.holes)-1].to))
		p.raw("</div>")
	}
	p.raw(`<div class="lane axis">`)
	for _, t := range x.ticks {
		// Those at the ends would hang over the edge.
		if s := 100 * x.share(t.at); s > 4 && s < 96 {
			p.rawf(`<i style="left:%.2f%%">%s</i>`, s, t.text)
		}
	}
	p.raw("</div></div>\n")
	note := upper(x.title) + ". Bars are alarms, as long as their condition was there: black evacuate, dark alarm, striped caution, hollow notice."
	if len(rows) == 0 {
		note = upper(x.title) + ". Nothing alarmed."
	}
	if more > 0 {
		note += fmt.Sprintf(" %d more are in the table only.", more)
	}
	if len(r.phases) > 0 {
		var all []string
		for _, ph := range r.phases {
			name := ph.name
			if name == "" {
				name = "not known"
			}
			all = append(all, name+" "+span(ph.to-ph.from))
		}
		note += " Phases: " + strings.Join(all, ", ") + "."
	}
	p.para("note", note)
}

// alarmRows are the episodes by alarm, the gravest alarms if there are many, in
// the order of time.
func (r *run) alarmRows() (rows [][]*episode, more int) {
	by := map[string]int{}
	for i := range r.episodes {
		e := &r.episodes[i]
		j, known := by[e.alarm]
		if !known {
			j = len(rows)
			by[e.alarm] = j
			rows = append(rows, nil)
		}
		rows[j] = append(rows[j], e)
	}
	slices.SortStableFunc(rows, func(a, b []*episode) int { return byPriority(a[0].priority, b[0].priority) })
	if more = len(rows) - mostAlarms; more > 0 {
		rows = rows[:mostAlarms]
	}
	slices.SortStableFunc(rows, func(a, b []*episode) int { return cmp.Compare(a[0].from, b[0].from) })
	return rows, max(0, more)
}

func (p *page) alarmRow(r *run, row []*episode, at func(int64) float64) {
	from, to := 100., 0.
	var numbers []string
	var bars strings.Builder
	q := &page{w: &bars}
	for _, e := range row {
		end := e.to
		if end == 0 {
			end = r.end
		}
		a, b := at(e.from), at(end)
		q.rawf(`<b class="%s" style="left:%.2f%%;width:%.2f%%"></b>`, classOf(e.priority), a, b-a)
		from, to = min(from, a), max(to, b)
		numbers = append(numbers, fmt.Sprint(e.number))
	}
	if len(numbers) > 3 {
		numbers = []string{numbers[0], "…", numbers[len(numbers)-1]}
	}
	text := strings.ReplaceAll(strings.Join(numbers, ","), ",…,", "…") + " " + plain(row[0].alarm)
	if row[0].test {
		text += " (test)"
	}
	if beside(text, from, to) {
		p.raw(`<div class="lane">` + bars.String())
	} else { // no room before or behind the bars: above them
		p.raw(`<div class="lane two">` + bars.String())
	}
	p.beside(text, from, to)
	p.raw("</div>")
}

// needs is the width of a row's name, %.
func needs(text string) float64 { return 100 * (perChar*float64(len(text)) + 8) / storyWide }

// beside says that a row's name has room before or behind its bars.
func beside(text string, from, to float64) bool {
	return to+needs(text) <= 100 || from-needs(text) >= 0
}

// beside writes a row's name where its bars leave room.
func (p *page) beside(text string, from, to float64) {
	need := needs(text)
	switch {
	case to+need <= 100:
		p.rawf(`<i style="left:%.2f%%">`, to)
	case from-need >= 0:
		p.rawf(`<i style="right:%.2f%%">`, 100-from)
	default:
		p.rawf(`<i class="in" style="left:%.2f%%">`, max(0, min(from, 100-need)))
	}
	p.text(text).raw("</i>")
}

// markWords are the notes that are moments of the run.
var markWords = []string{"flare", "engine", "refuel", "lid", "cleaned", "return", "load", "in"}

// marks are moments of the notebook, packed into as few rows as have room.
func (p *page) marks(r *run, at func(int64) float64) {
	type row struct {
		free float64 // %
		html strings.Builder
	}
	var rows []*row
	lit := int64(0) // what was noted before is no moment of the fire
	if i := slices.IndexFunc(r.phases, func(s stretch) bool { return s.name == "lighting" }); i >= 0 {
		lit = r.phases[i].from
	}
	for _, n := range r.notes {
		if !slices.Contains(markWords, n.Kind) || n.Ms < max(r.from, lit) || n.Ms > r.end {
			continue
		}
		text := n.Kind
		if n.Value != nil {
			text += " " + r.noteValue(&n)
		}
		a, need := at(n.Ms), 100*(perChar*float64(len(text))+10)/storyWide
		left := a
		if a+need > 100 {
			left = a - need
		}
		var to *row
		for _, c := range rows {
			if c.free <= left {
				to = c
				break
			}
		}
		if to == nil {
			if len(rows) == 4 {
				continue // the notebook has all of them
			}
			to = &row{}
			rows = append(rows, to)
		}
		to.free = left + need
		q := &page{w: &to.html}
		q.rawf(`<b class="tick" style="left:%.2f%%"></b>`, a)
		if left < a {
			q.rawf(`<i style="right:%.2f%%">`, 100-a)
		} else {
			q.rawf(`<i style="left:%.2f%%">`, a)
		}
		q.text(text).raw("</i>")
	}
	for _, c := range rows {
		p.raw(`<div class="lane marks">` + c.html.String() + "</div>")
	}
}

package report

import (
	_ "embed"
	"fmt"
	"html"
	"io"
	"math"
	"strings"
)

//go:embed style.css
var style string

// page writes HTML. What people wrote goes through text and nowhere else.
type page struct {
	words
	w    io.Writer // a bufio.Writer, which keeps its error
	opts Opts
}

func (p *page) raw(s string) *page {
	io.WriteString(p.w, s)
	return p
}

func (p *page) rawf(format string, a ...any) *page {
	fmt.Fprintf(p.w, format, a...)
	return p
}

func (p *page) text(s string) *page { return p.raw(html.EscapeString(s)) }

// para is a paragraph of a class, "" for none.
func (p *page) para(class, s string) {
	if class != "" {
		class = ` class="` + class + `"`
	}
	p.raw("<p" + class + ">").text(s).raw("</p>\n")
}

// list of sentences; nothing if there are none.
func (p *page) list(class string, all []string) {
	if len(all) == 0 {
		return
	}
	p.rawf("<ul class=%q>\n", class)
	for _, s := range all {
		p.raw("<li>").text(s).raw("</li>\n")
	}
	p.raw("</ul>\n")
}

// table of texts, what follows a line feed smaller. On a phone each row is a block
// with the heads before the cells.
func (p *page) table(class string, heads []string, rows [][]string) {
	p.rawf("<table class=%q><thead><tr>", class)
	for _, h := range heads {
		p.raw("<th>").text(h).raw("</th>")
	}
	p.raw("</tr></thead>\n<tbody>")
	for _, r := range rows {
		p.raw("<tr>")
		for i, c := range r {
			p.raw(`<td data-h="`).text(heads[i]).raw(`">`)
			first, more, _ := strings.Cut(c, "\n")
			p.text(first)
			if more != "" {
				p.raw("<small>").text(more).raw("</small>")
			}
			p.raw("</td>")
		}
		p.raw("</tr>\n")
	}
	p.raw("</tbody></table>\n")
}

// all writes the whole page.
func (p *page) all(runs []*run) {
	title := "Report of " + runs[0].name()
	if len(runs) > 1 {
		title = "Report of " + count(len(runs), "run")
	}
	p.raw("<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">\n" +
		"<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n<title>").text("charwarden: " + title).
		raw("</title>\n<style>\n" + style + "</style></head>\n<body>\n<header><h1>").text(title).raw("</h1>\n")
	p.para("made", p.made(runs))
	p.raw("</header>\n")
	if len(runs) > 1 {
		p.raw("<nav>")
		p.raw(`<a href="#compare">Comparison</a>`)
		for i, r := range runs {
			p.rawf(` <a href="#run%d">`, i+1).text(upper(r.name())).raw("</a>")
		}
		p.raw(` <a href="#cautions">Cautions</a></nav>` + "\n")
		p.compare(runs)
	}
	for i, r := range runs {
		p.run(i, r, len(runs) > 1)
	}
	p.cautions()
	p.raw("</body></html>\n")
}

// made says by what and when, and in which zone the times are.
func (p *page) made(runs []*run) string {
	at := runs[0].wall(runs[0].from)
	zone, offset := at.Zone()
	s := "Made by charwarden"
	if p.opts.Version != "" {
		s += " " + p.opts.Version
	}
	if !p.opts.Now.IsZero() {
		s += " on " + p.opts.Now.In(p.zone).Format("2 January 2006 at 15:04")
	}
	return s + fmt.Sprintf(". All times are local to the machine that made it: %s, UTC%+03d:%02d.", zone, offset/3600, abs(offset)/60%60)
}

func abs(n int) int { return max(n, -n) }

// run writes all of one run.
func (p *page) run(i int, r *run, many bool) {
	f := r.figuresOf(math.NaN())
	p.rawf(`<section id="run%d">`, i+1)
	if many {
		p.raw("<h2 class=\"run\">").text(upper(r.name())).raw("</h2>\n")
	}
	p.raw("<h2>In short</h2>\n")
	for _, s := range r.summary(&f) {
		p.para("", s)
	}
	p.raw("<h3>Before the next fire</h3>\n")
	p.list("todo", r.before(&f))
	p.story(r)
	if charts := r.charts(); len(charts) > 0 {
		p.raw("<h2>Pictures</h2>\n")
		p.para("note", "The line is the mean, the pale area what it moved between: no peak is left out. Where nothing good was read there is a gap. "+
			"Numbers above a picture are those of the alarms below. Pale bands are the phases, grey bars are times of which nothing was written, and shaded is what lies past a limit.")
		p.raw("<div class=\"plots\">\n")
		for _, c := range charts {
			p.draw(c)
		}
		p.raw("</div>\n")
	}
	p.alarms(r)
	p.notebook(r)
	p.raw("<h2>Charcoal, gas and engine</h2>\n")
	p.figures(r, &f)
	p.health(r)
	p.raw("</section>\n")
}

// figures is the table of a run's figures.
func (p *page) figures(r *run, f *figures) {
	all := []figure{f.burnt, f.weighed, f.engine, f.rate, f.gas, f.cleanDrop, f.slope, f.loadingSlope}
	all = append(all, f.walls...)
	all = append(all, f.scales...)
	all = append(all, f.flare, f.start, f.tau, f.shaft, f.perKWh, f.noted, f.perNoted)
	var rows [][]string
	var order []string
	unknown := map[string][]string{} // by the reason
	for _, g := range all {
		if g.known() {
			rows = append(rows, []string{g.name, g.text(), upper(g.note)})
			continue
		}
		if unknown[g.note] == nil {
			order = append(order, g.note)
		}
		unknown[g.note] = append(unknown[g.note], strings.ToLower(g.name[:1])+g.name[1:])
	}
	if rows != nil {
		p.table("figures", []string{"What", "How much", "How it is known"}, rows)
	}
	for _, why := range order {
		p.para("note", "Not known: "+listed(unknown[why])+", because "+why+".")
	}
	if rows == nil {
		return
	}
	s := "± is the half width within which the figure is thought to lie nearly always (k = 2). Where none stands, none is known."
	if f.loadName != "" {
		s += " Walls and filter are compared at " + f.loadName + ", the usual load of this run."
	}
	p.para("note", s)
}

// cautions end every report.
func (p *page) cautions() {
	p.raw("<section id=\"cautions\"><h2>Cautions</h2>\n")
	p.list("cautions", []string{
		"charwarden is an aid, not a certified life-safety device. A report without an alarm does not say that nothing was wrong: what is not measured is not seen.",
		"The gas holds a third of carbon monoxide, which has no smell and kills. Keep a certified carbon monoxide alarm on you, run the rig in the open air only, and stay upwind when you light, fill and stop it. Headache or dizziness: into fresh air at once, and call a doctor.",
		"A shut hearth makes gas for hours and lights again if air gets in, even the next day. It stays under the open sky, shut, until it is cold all through; so do ash and filter dust.",
		"Figures with “give or take” are estimates. Blood values are reckoned, not measured.",
		"Local rules on fire, gas, air and work, the makers' manuals and people licensed for the work go before anything that stands here.",
	})
	p.raw("</section>\n")
}

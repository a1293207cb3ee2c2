package report

import (
	"bytes"
	"flag"
	"io"
	"os"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"golang.org/x/net/html"

	"charwarden/cmd/internal/runlog"
	"charwarden/sensors"
)

var update = flag.Bool("update", false, "write the golden files anew")

var testOpts = Opts{Zone: zoneA, Now: time.Date(2026, 3, 15, 7, 0, 0, 0, time.UTC), Version: "v1.2.3"}

func pageOf(t testing.TB, o Opts, runs ...*run) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := write(&b, runs, o); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// bad is a run with faults and alarms, fair one with another batch.
func bad() *run {
	s := plainTale(7)
	s.faults = true
	return s.make(rigA())
}

func fair() *run {
	s := plainTale(8)
	s.wall, s.ret, s.batch, s.perKg, s.tau = -60, 16, "old store, damp", 11, 1.28
	return s.make(rigA())
}

var imperial = Units{Temperature: Unit{"°F", 1.8, 32}, Pressure: Unit{"inH2O", 1 / 249.08891, 0}, Mass: Unit{"lb", 1 / 0.45359237, 0}}

// made are all pages that are looked at.
var made = sync.OnceValues(func() (map[string][]byte, error) {
	unset := plainTale(9)
	unset.quality = runlog.Unset
	storm := plainTale(6)
	storm.storm, storm.cool = true, 0
	odd := testOpts
	odd.Units = imperial
	nothing := bare()
	nothing.close(nothing.rows(true), nothing.rows(false))
	one, two := bad(), fair()
	all := map[string][]byte{}
	for name, page := range map[string]struct {
		o    Opts
		runs []*run
	}{
		"one": {testOpts, []*run{one}}, "two": {testOpts, []*run{one, two}}, "units": {odd, []*run{unset.make(rigA())}},
		"storm": {testOpts, []*run{storm.make(rigA())}},
		"lone":  {testOpts, []*run{unset.only(Rig{}, "wall_near")}}, "none": {testOpts, []*run{nothing}},
	} {
		var b bytes.Buffer
		if err := write(&b, page.runs, page.o); err != nil {
			return nil, err
		}
		all[name] = b.Bytes()
	}
	return all, nil
})

func pages(t *testing.T) map[string][]byte {
	t.Helper()
	all, err := made()
	if err != nil {
		t.Fatal(err)
	}
	for name, page := range all {
		keep(t, name+".html", page)
	}
	return all
}

// sentences are the paragraphs and list items of a page, as plain text.
func sentences(t *testing.T, page []byte) string {
	t.Helper()
	var b strings.Builder
	z := html.NewTokenizer(bytes.NewReader(page))
	in := false
	for {
		switch z.Next() {
		case html.ErrorToken:
			if z.Err() != io.EOF {
				t.Fatal(z.Err())
			}
			return b.String()
		case html.StartTagToken:
			name, _ := z.TagName()
			switch n := string(name); n {
			case "p", "li", "h2", "h3":
				in = true
				b.WriteString(map[string]string{"h2": "\n# ", "h3": "\n## ", "li": "- "}[n])
			}
		case html.EndTagToken:
			switch name, _ := z.TagName(); string(name) {
			case "p", "li", "h2", "h3":
				in = false
				b.WriteByte('\n')
			}
		case html.TextToken:
			if in {
				b.Write(z.Text())
			}
		}
	}
}

// All sentences of the reports of one run, of two and of a rig with one
// thermocouple.
func TestSentences(t *testing.T) {
	for name, page := range pages(t) {
		file := "testdata/" + name + ".golden"
		got := sentences(t, page)
		if *update {
			if err := os.WriteFile(file, []byte(got), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		if got != string(want) {
			t.Errorf("%s: other sentences; -update writes them anew. Now:\n%s", file, got)
		}
	}
}

// A page fetches nothing and runs nothing, and every element that is opened is
// closed (void elements: HTML standard, section 13.1.2).
func TestSelfContained(t *testing.T) {
	void := map[string]bool{"meta": true, "path": true, "rect": true}
	fetches := regexp.MustCompile(`(?i)\bsrc=|srcset|url\(|@import|<script|<link|<iframe|https?:|javascript:|\son\w+=`)
	for name, page := range pages(t) {
		if found := fetches.Find(page); found != nil {
			t.Errorf("%s: %q", name, found)
		}
		for _, no := range []string{"NaN", "Inf", "%!"} {
			if i := bytes.Index(page, []byte(no)); i >= 0 {
				t.Errorf("%s: %q in %q", name, no, page[max(0, i-60):min(len(page), i+30)])
			}
		}
		var open []string
		ids := map[string]bool{}
		z := html.NewTokenizer(bytes.NewReader(page))
		for z.Next() != html.ErrorToken {
			tok := z.Token()
			switch tok.Type {
			case html.StartTagToken:
				if !void[tok.Data] {
					open = append(open, tok.Data)
				}
				for _, a := range tok.Attr {
					if a.Key == "id" {
						if ids[a.Val] {
							t.Errorf("%s: id %q twice", name, a.Val)
						}
						ids[a.Val] = true
					}
				}
			case html.EndTagToken:
				if len(open) == 0 || open[len(open)-1] != tok.Data {
					t.Fatalf("%s: </%s> closes %v", name, tok.Data, open)
				}
				open = open[:len(open)-1]
			}
		}
		if z.Err() != io.EOF || len(open) > 0 {
			t.Errorf("%s: %v, open %v", name, z.Err(), open)
		}
		if len(page) > 1_200_000 {
			t.Errorf("%s: %d bytes: too much for a phone", name, len(page))
		}
	}
}

// Whatever people wrote stays text.
func TestPeoplesWordsStayText(t *testing.T) {
	const evil = `"><script>alert(1)</script>'<b onclick=x>&amp;`
	s := plainTale(5)
	m, rec := s.head()
	m.Rig, m.Why = evil, evil
	rec.notes = append(rec.notes, runlog.Note{Ms: bootMs + 60_000_0, Person: evil, Kind: evil, Text: evil}, runlog.Note{Ms: bootMs, Kind: "batch", Text: evil},
		runlog.Note{Ms: bootMs + 900_000, Kind: "load", Text: evil, Value: new(float64), Unit: evil})
	rec.commands = []runlog.Command{{Ms: bootMs, Person: evil, Verb: evil, Body: `{"a":"` + `<script>` + `"}`, Err: evil}, {Ms: bootMs, Person: "kim", Verb: "note", Body: evil, Err: evil}}
	rec.gaps = []runlog.Gap{{Ms: bootMs, What: evil, N: 1}}
	rec.phases = append(rec.phases, runlog.PhaseChange{Ms: bootMs + 1_000_000, Phase: evil})
	for i := range m.Channels {
		m.Channels[i].Place, m.Channels[i].Care, m.Channels[i].Unit = evil, evil, evil
	}
	m.Channels[0].Name = evil
	rec.transitions = []runlog.Transition{{Ms: bootMs + 1000, Alarm: evil, Channel: evil, Priority: evil, From: "normal", To: "unacknowledged", Unit: evil, Value: new(float64), Limit: new(float64), Seq: 1}}
	rig := rigA()
	rig.Walls[0] = evil
	rig.Limits = append(rig.Limits, Limit{evil, evil, evil, "above", 3, evil})
	o := testOpts
	o.Version, o.Units = evil, Units{Temperature: Unit{evil, 1, 0}, Mass: Unit{evil, 2, 0}}
	build := func(number int) *run {
		m.Number = number
		r := newRun(m, rig, fixedClock{dawn, runlog.Free}, rec)
		ticks, seconds := r.rows(true), r.rows(false)
		for ms := int64(bootMs); ms < m.LastMs; ms += 60_000 {
			for _, s := range []*rows{ticks, seconds} {
				cells := make([]runlog.Cell, len(s.tracks))
				for i := range cells {
					cells[i] = runlog.Cell{Count: ms % 977, Status: sensors.Good}
				}
				if err := s.add(&runlog.Row{Ms: ms, Cells: cells}); err != nil {
					t.Fatal(err)
				}
			}
		}
		r.close(ticks, seconds)
		return r
	}
	page := pageOf(t, o, build(1), build(2))
	z := html.NewTokenizer(bytes.NewReader(page))
	for z.Next() != html.ErrorToken {
		tok := z.Token()
		if tok.Type != html.StartTagToken && tok.Type != html.SelfClosingTagToken {
			continue
		}
		if tok.Data == "script" {
			t.Fatal("a script came through")
		}
		for _, a := range tok.Attr {
			if strings.HasPrefix(a.Key, "on") || strings.Contains(a.Key, `"`) || strings.Contains(a.Key, "<") {
				t.Fatalf("<%s %s=%q>", tok.Data, a.Key, a.Val)
			}
		}
	}
	if n := bytes.Count(page, []byte("&lt;script&gt;")); n < 20 {
		t.Errorf("only %d of what people wrote are there", n)
	}
}

func TestNoRun(t *testing.T) {
	if err := Write(io.Discard, nil, Opts{}); err == nil || !strings.Contains(err.Error(), "name at least one") {
		t.Error(err)
	}
}

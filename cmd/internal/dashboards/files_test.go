package dashboards

import (
	"encoding/json"
	"flag"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"charwarden/cmd/internal/names"
)

var update = flag.Bool("update", false, "write the dashboards below deploy/grafana anew")

const deploy = "../../../deploy"

// What is used is what the generator makes.
func TestFilesAreTheGenerators(t *testing.T) {
	files, err := Files()
	if err != nil {
		t.Fatal(err)
	}
	for name, want := range files {
		path := filepath.Join(deploy, "grafana", name)
		if *update {
			if err := os.WriteFile(path, want, 0o644); err != nil {
				t.Fatal(err)
			}
		}
		got, err := os.ReadFile(path)
		if err != nil {
			t.Errorf("%v: run go generate ./cmd/internal/dashboards", err)
			continue
		}
		if line, a, b := firstDifference(string(got), string(want)); line > 0 {
			t.Errorf("%s:%d: has %q, the generator makes %q: run go generate ./cmd/internal/dashboards and read the diff", path, line, a, b)
		}
	}
	there, err := filepath.Glob(filepath.Join(deploy, "grafana", "*.json"))
	if err != nil || len(there) != len(files) {
		t.Errorf("%d dashboards in deploy/grafana, %d are generated: %v (%v)", len(there), len(files), there, err)
	}
}

// firstDifference returns the line, from 1, in which two texts differ, and what
// each has there; 0 if they do not.
func firstDifference(a, b string) (int, string, string) {
	as, bs := strings.Split(a, "\n"), strings.Split(b, "\n")
	for i := range max(len(as), len(bs)) {
		var x, y string
		if i < len(as) {
			x = as[i]
		}
		if i < len(bs) {
			y = bs[i]
		}
		if x != y || i >= len(as) || i >= len(bs) {
			return i + 1, x, y
		}
	}
	return 0, "", ""
}

func TestFirstDifference(t *testing.T) {
	for _, tc := range []struct {
		a, b string
		want int
	}{{"a\nb", "a\nb", 0}, {"a\nb", "a\nc", 2}, {"a", "a\n", 2}, {"", "a", 1}} {
		if got, _, _ := firstDifference(tc.a, tc.b); got != tc.want {
			t.Errorf("%q, %q: line %d, want %d", tc.a, tc.b, got, tc.want)
		}
	}
}

// read is a dashboard as Grafana reads it, as far as the tests look at it.
type read struct {
	Title         string
	UID           string
	SchemaVersion int
	Panels        []readPanel
	Annotations   struct{ List []readAnnotation }
	Templating    struct{ List []readVariable }
}

type readSource struct{ Type, UID string }

type readPanel struct {
	ID                 int
	Type, Interval     string
	Title, Description string
	PluginVersion      string
	Datasource         readSource
	GridPos            struct{ X, Y, W, H int }
	Targets            []readTarget
	Options            struct {
		Legend  map[string]any
		Tooltip map[string]any
	}
	FieldConfig struct {
		Defaults  struct{ Unit string }
		Overrides []struct {
			Matcher    struct{ Options any }
			Properties []struct {
				ID    string
				Value any
			}
		}
	}
}

type readTarget struct {
	Expr, RefID, Format string
	Instant, Range      bool
	Datasource          readSource
}

type readAnnotation struct {
	Name, Expr string
	Datasource readSource
}

type readVariable struct {
	Name, Type string
	Query      any
	Datasource *readSource
}

func readAll(t *testing.T) (all []read) {
	t.Helper()
	files, err := Files()
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"one-run.json", "runs.json"} {
		var d read
		if err := json.Unmarshal(files[name], &d); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		all = append(all, d)
	}
	return all
}

// What the library leaves out unless it is told, and what breaks a dashboard on
// another server.
func TestPanelsAreWhole(t *testing.T) {
	want := readSource{"prometheus", "${datasource}"}
	titles := map[string]string{}
	for _, d := range readAll(t) {
		if d.SchemaVersion != 42 || d.UID == "" {
			t.Errorf("%s: schema %d, uid %q", d.Title, d.SchemaVersion, d.UID)
		}
		ids := map[int]bool{}
		for _, p := range d.Panels {
			if p.ID == 0 || ids[p.ID] {
				t.Errorf("%s: %s: its id %d is missing or taken", d.Title, p.Title, p.ID)
			}
			ids[p.ID] = true
			if other, taken := titles[p.Title]; taken || p.Title == "" {
				t.Errorf("%s: title %q is empty or stands in %s too", d.Title, p.Title, other)
			}
			titles[p.Title] = d.Title
			if p.Type == "row" {
				continue
			}
			if p.Datasource != want {
				t.Errorf("%s: data source %v", p.Title, p.Datasource)
			}
			if len(p.Description) < 25 || !strings.HasSuffix(p.Description, ".") {
				t.Errorf("%s: says too little: %q", p.Title, p.Description)
			}
			if len(p.Targets) == 0 {
				t.Errorf("%s: no query", p.Title)
			}
			refs := map[string]bool{}
			for _, q := range p.Targets {
				if q.Datasource != want || q.RefID == "" || refs[q.RefID] || q.Instant == q.Range {
					t.Errorf("%s: query %+v", p.Title, q)
				}
				refs[q.RefID] = true
			}
			switch p.Type {
			case "timeseries", "xychart":
				if p.Options.Legend["showLegend"] != true || p.Options.Tooltip["mode"] == "" {
					t.Errorf("%s: legend %v, tooltip %v", p.Title, p.Options.Legend, p.Options.Tooltip)
				}
				// Grafana's xychart migrates what is older than 11.1 or says nothing.
				if p.Type == "xychart" && p.PluginVersion != "11.1.0" {
					t.Errorf("%s: plugin version %q", p.Title, p.PluginVersion)
				}
			case "state-timeline":
				if p.Options.Legend["showLegend"] != false || p.Options.Tooltip["mode"] == "" {
					t.Errorf("%s: legend %v, tooltip %v", p.Title, p.Options.Legend, p.Options.Tooltip)
				}
			case "stat", "table", "bargauge":
				for _, q := range p.Targets {
					if !q.Instant {
						t.Errorf("%s: %s shows the last value of a series that has ended as live", p.Title, q.Expr)
					}
				}
			default:
				t.Errorf("%s: type %s: nobody thought of it here", p.Title, p.Type)
			}
		}
		for _, a := range d.Annotations.List {
			if a.Datasource != want {
				t.Errorf("%s: annotation %s: data source %v", d.Title, a.Name, a.Datasource)
			}
		}
		for _, v := range d.Templating.List {
			if v.Type == "query" && (v.Datasource == nil || *v.Datasource != want) {
				t.Errorf("%s: variable %s: data source %v", d.Title, v.Name, v.Datasource)
			}
		}
		if v := d.Templating.List[0]; v.Name != "datasource" || v.Type != "datasource" || v.Query != "prometheus" {
			t.Errorf("%s: the first variable is %+v", d.Title, v)
		}
	}
}

// No two panels lie over each other, and none sticks out.
func TestPanelsHaveRoom(t *testing.T) {
	for _, d := range readAll(t) {
		taken := map[[2]int]string{}
		for _, p := range d.Panels {
			g := p.GridPos
			if g.W == 0 || g.H == 0 || g.X+g.W > gridWidth {
				t.Errorf("%s: %s: %+v", d.Title, p.Title, g)
			}
			for x := g.X; x < g.X+g.W; x++ {
				for y := g.Y; y < g.Y+g.H; y++ {
					if other, ok := taken[[2]int{x, y}]; ok {
						t.Fatalf("%s: %s lies over %s", d.Title, p.Title, other)
					}
					taken[[2]int{x, y}] = p.Title
				}
			}
		}
	}
}

var metricWord = regexp.MustCompile(`\bcharwarden_[a-z0-9_]+`)

func metricsOf(expr string) []string {
	found := metricWord.FindAllString(expr, -1)
	slices.Sort(found)
	return slices.Compact(found)
}

// known are the metrics that the daemon has.
func known(t *testing.T) map[string]bool {
	t.Helper()
	src, err := os.ReadFile("../names/metric.go")
	if err != nil {
		t.Fatal(err)
	}
	all := map[string]bool{}
	for _, m := range regexp.MustCompile(`"(charwarden_[a-z0-9_]+)"`).FindAllStringSubmatch(string(src), -1) {
		all[m[1]] = true
	}
	if !all[names.COPpm] || len(all) < 35 {
		t.Fatalf("%d metrics in package names", len(all))
	}
	return all
}

// Every metric of a dashboard and of an alert rule exists, and the dashboards
// show all that the daemon has to say but for the little that is named here.
func TestMetricsExist(t *testing.T) {
	all, used := known(t), map[string]bool{}
	see := func(where, text string) {
		for _, m := range metricsOf(text) {
			used[m] = true
			if !all[m] {
				t.Errorf("%s: the daemon has no metric %s", where, m)
			}
		}
	}
	for _, d := range readAll(t) {
		for _, p := range d.Panels {
			for _, q := range p.Targets {
				see(p.Title, q.Expr)
			}
		}
		for _, a := range d.Annotations.List {
			see(a.Name, a.Expr)
		}
		for _, v := range d.Templating.List {
			if expr, ok := v.Query.(string); ok {
				see(v.Name, expr)
			}
		}
	}
	for m := range all {
		switch m {
		case names.BuildInfo, names.Ticks, names.RunPermit, names.LeakPaPerMinute,
			names.MQTTConnects, names.MQTTRebuilds, names.MQTTPublished:
			continue
		}
		if !used[m] {
			t.Errorf("no panel shows %s", m)
		}
	}
	rules, err := filepath.Glob(filepath.Join(deploy, "prometheus", "*.yml"))
	if err != nil || len(rules) == 0 {
		t.Fatalf("no rules found: %v", err)
	}
	for _, path := range rules {
		text, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		see(path, string(text))
	}
}

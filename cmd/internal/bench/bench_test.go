package main

import (
	"bytes"
	"encoding/json"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// What `go test -bench` prints, captured from go 1.26, and lines that look alike.
const printed = `goos: linux
goarch: amd64
pkg: charwarden/cmd/charwarden
cpu: some
BenchmarkFootprint
    footprint_bench_test.go:61: aim 0.65 of its memory: 22.8 MB / 20.0 MB = 1.14
BenchmarkFootprint-2   	       1	        20.00 anchor-MB	        18.00 MB	         0 ns/op	     120 B/op	       3 allocs/op
BenchmarkStep-2        	   50000	     21000 ns/op	       0 B/op	       0 allocs/op
BenchmarkStep-2        	   50000	     19000 ns/op	       0 B/op	       0 allocs/op
BenchmarkStep-2        	   50000	    190000 ns/op	       0 B/op	       0 allocs/op
BenchmarkScrape/open-metrics-2	 176	   2.5e+06 ns/op	     79927 page-B	   60133 B/op	     303 allocs/op
BenchmarkScrape/x-2      
BenchmarkNoise-2 many 12 ns/op
--- FAIL: BenchmarkOther-2
PASS
ok  	charwarden/cmd/charwarden	4.2s
`

func TestParse(t *testing.T) {
	f := parse([]byte(printed))
	for _, c := range []struct {
		benchmark, unit string
		want            float64
		none            bool
	}{
		{"BenchmarkFootprint", "MB", 18, false},
		{"BenchmarkFootprint", "anchor-MB", 20, false},
		{"BenchmarkFootprint", "allocs/op", 3, false},
		{"BenchmarkStep", "ns/op", 21000, false}, // the middle one
		{"BenchmarkScrape/open-metrics", "ns/op", 2.5e6, false},
		{"BenchmarkScrape/open-metrics", "page-B", 79927, false},
		{"BenchmarkStep", "MB", 0, true},
		{"BenchmarkScrape/x", "ns/op", 0, true},
		{"BenchmarkNoise", "ns/op", 0, true},
		{"BenchmarkOther", "ns/op", 0, true},
	} {
		if v, ok := f.figure(c.benchmark, c.unit); v != c.want || ok == c.none {
			t.Errorf("%s %s: %v %v, want %v", c.benchmark, c.unit, v, ok, c.want)
		}
	}
	even := figures{"BenchmarkX": {"s": {4, 1, 2, 3}}}
	if v, _ := even.figure("BenchmarkX", "s"); v != 2.5 {
		t.Errorf("middle of four: %v", v)
	}
}

func TestTable(t *testing.T) {
	aims := []aim{
		{pkg: "cmd/charwarden", benchmark: "BenchmarkFootprint", metric: "MB", relation: "<=", want: 0.95, anchor: "anchor-MB", why: "w"},
		{pkg: "cmd/charwarden", benchmark: "BenchmarkFootprint", metric: "MB", relation: "<=", want: 0.85, anchor: "anchor-MB", why: "w"},
		{pkg: "cmd/charwarden", benchmark: "BenchmarkFootprint", metric: "MB", relation: "<=", want: 2, anchor: "gone-MB", why: "w"},
		{pkg: "cmd/charwarden", benchmark: "BenchmarkStep", metric: "ns/op", relation: "<=", want: 21000, why: "w"},
		{pkg: "cmd/charwarden", benchmark: "BenchmarkStep", metric: "ns/op", relation: ">=", want: 21001, why: "w"},
		{pkg: "cmd/charwarden", benchmark: "BenchmarkStep", metric: "allocs/op", relation: "<=", want: 0, why: "w"},
		{pkg: "cmd/charwarden", benchmark: "BenchmarkGone", metric: "ns/op", relation: "<=", want: 1, why: "w"},
		{pkg: "cmd/internal/metrics", benchmark: "BenchmarkScrape/open-metrics", metric: "page-B"},
	}
	rows := rowsOf(aims, parse([]byte(printed)))
	var b bytes.Buffer
	if err := writeTable(&b, rows); err != nil {
		t.Fatal(err)
	}
	want := `benchmark                    metric     aim             figure     anchor  ratio  met
charwarden.Footprint         MB         <= 0.95 x anchor  18         20      0.9    yes
charwarden.Footprint         MB         <= 0.85 x anchor  18         20      0.9    NO
charwarden.Footprint         MB         <= 2 x anchor     18         -       -      NO
charwarden.Step              ns/op      <= 21000          21000    -       -      yes
charwarden.Step              ns/op      >= 21001          21000    -       -      NO
charwarden.Step              allocs/op  <= 0              0          -       -      yes
charwarden.Gone              ns/op      <= 1              -          -       -      NO: no figure
metrics.Scrape/open-metrics  page-B     -                 79927  -       -      -

3 of 7 aims met
`
	space := regexp.MustCompile(` +`)
	if got, want := space.ReplaceAllString(b.String(), " "), space.ReplaceAllString(want, " "); got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
	missed := 0
	for i := range rows {
		if rows[i].missed() {
			missed++
		}
	}
	if missed != 4 {
		t.Errorf("%d missed, want 4", missed)
	}
	b.Reset()
	var back []row
	if err := writeJSON(&b, rows); err != nil || json.Unmarshal(b.Bytes(), &back) != nil || len(back) != len(rows) {
		t.Fatalf("%v: %s", err, &b)
	}
	if back[0].Ratio == nil || *back[0].Ratio != 0.9 || !*back[0].Met || back[6].Figure != nil || *back[6].Met || back[7].Met != nil {
		t.Errorf("%+v", back)
	}
}

func TestAimsAreReadStrictly(t *testing.T) {
	head := strings.Join(aimColumns, ",") + "\n"
	for what, text := range map[string]string{
		"":                             head + "a,BenchmarkX,ns/op,<=,5,,,because\na,BenchmarkX,B/op,,,,,\n",
		"want the columns":             strings.Replace(head, "metric", "unit", 1),
		"wrong number of fields":       head + "a,BenchmarkX,ns/op\n",
		`relation "<"`:                 head + "a,BenchmarkX,ns/op,<,5,,,because\n",
		"invalid syntax":               head + "a,BenchmarkX,ns/op,<=,five,,,because\n",
		"wants its why":                head + "a,BenchmarkX,ns/op,<=,5,,,\n",
		"without a relation":           head + "a,BenchmarkX,ns/op,,5,,,because\n",
		"want a package":               head + "a,X,ns/op,,,,,\n",
		"another line of the same has": head + "a,BenchmarkX/a,ns/op,,,,-count=1,\na,BenchmarkX/b,ns/op,,,,,\n",
	} {
		file := filepath.Join(t.TempDir(), "aims.csv")
		if err := os.WriteFile(file, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		_, err := readAims(file)
		what = strings.Replace(what, "the same has", "the same benchmark has", 1)
		if what == "" && err != nil || what != "" && (err == nil || !strings.Contains(err.Error(), what)) {
			t.Errorf("%q: %v", what, err)
		}
	}
}

func TestJobs(t *testing.T) {
	jobs := jobsOf([]aim{
		{pkg: "a", benchmark: "BenchmarkX/one", flags: "-count=1"}, {pkg: "a", benchmark: "BenchmarkY"},
		{pkg: "a", benchmark: "BenchmarkX/two", flags: "-count=1"}, {pkg: "b", benchmark: "BenchmarkX"}, {pkg: "b", benchmark: "BenchmarkZ"},
	}, regexp.MustCompile("X|Y"))
	var got []string
	for _, j := range jobs {
		got = append(got, j.String())
	}
	if s := strings.Join(got, "; "); s != "a: BenchmarkX; a: BenchmarkY; b: BenchmarkX" || len(jobs[0].aims) != 2 {
		t.Error(s)
	}
}

var benchmarkFunc = regexp.MustCompile(`(?m)^func (Benchmark\w*)\(`)

// Every benchmark of the tree stands in the list, and the list names no other.
func TestEveryBenchmarkIsListed(t *testing.T) {
	const root = "../../.."
	aims, err := readAims(filepath.Join(root, "testdata", "aims.csv"))
	if err != nil {
		t.Fatal(err)
	}
	listed := map[string]bool{}
	for i := range aims {
		listed[aims[i].pkg+"."+aims[i].function()] = false
	}
	for _, top := range []string{"alarms", "cmd", "config", "sensors"} {
		err := filepath.WalkDir(filepath.Join(root, top), func(name string, d fs.DirEntry, err error) error {
			if err != nil || !strings.HasSuffix(name, "_test.go") {
				return err
			}
			src, err := os.ReadFile(name)
			if err != nil {
				return err
			}
			pkg, err := filepath.Rel(root, filepath.Dir(name))
			if err != nil {
				return err
			}
			for _, m := range benchmarkFunc.FindAllSubmatch(src, -1) {
				key := filepath.ToSlash(pkg) + "." + string(m[1])
				if _, there := listed[key]; !there {
					t.Errorf("%s is not in testdata/aims.csv: add a line, with an aim if it has one", key)
				}
				listed[key] = true
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	for key, there := range listed {
		if !there {
			t.Errorf("%s is in testdata/aims.csv and nowhere else", key)
		}
	}
	if len(listed) < 35 {
		t.Errorf("only %d benchmarks", len(listed))
	}
}

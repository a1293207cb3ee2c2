package metrics

import (
	"flag"
	"math"
	"net/http/httptest"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/testutil"
	dto "github.com/prometheus/client_model/go"
	"github.com/prometheus/common/expfmt"
	"github.com/prometheus/common/model"

	"charwarden/sensors"
)

var update = flag.Bool("update", false, "write the golden files anew")

// own cuts the process's families, which differ from run to run, off a page.
func own(body string) string {
	var b strings.Builder
	for l := range strings.Lines(body) {
		name := strings.TrimPrefix(strings.TrimPrefix(l, "# HELP "), "# TYPE ")
		if !strings.HasPrefix(name, "process_") {
			b.WriteString(strings.ReplaceAll(l, runtime.Version(), "GOVERSION"))
		}
	}
	return b.String()
}

func TestPage(t *testing.T) {
	e, d := newPump(t)
	rs, as, h := morning(e, d.Now())
	e.Update(d.Now(), rs, as, h)
	for _, tc := range []struct{ file, accept, contentType string }{
		{"page.txt", acceptText, "text/plain; version=0.0.4"},
		{"page.om", acceptOpenMetrics, "application/openmetrics-text; version=1.0.0"},
	} {
		t.Run(tc.file, func(t *testing.T) {
			body, header := scrape(t, e, "/metrics", tc.accept)
			if ct := header.Get("Content-Type"); !strings.HasPrefix(ct, tc.contentType) {
				t.Errorf("Content-Type %q, want %q", ct, tc.contentType)
			}
			if ce := header.Get("Content-Encoding"); ce != "" {
				t.Errorf("Content-Encoding %q, want none", ce)
			}
			if !strings.Contains(body, "\nprocess_resident_memory_bytes ") && runtime.GOOS == "linux" {
				t.Error("the process's own memory is missing")
			}
			path, got := filepath.Join("testdata", tc.file), own(body)
			if *update {
				if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			if got != string(want) {
				t.Errorf("the page is not %s any more; got:\n%s", path, got)
			}
		})
	}
}

// parse reads a page as the text format's own parser does.
func parse(t testing.TB, body string) map[string]*dto.MetricFamily {
	t.Helper()
	p := expfmt.NewTextParser(model.LegacyValidation)
	mfs, err := p.TextToMetricFamilies(strings.NewReader(body))
	if err != nil {
		t.Fatalf("the page does not parse: %v\n%s", err, body)
	}
	return mfs
}

// Rules of the exposition: OpenMetrics 1.0 and the Prometheus documentation,
// "Writing exporters" and "Metric and label naming".
func TestPageKeepsTheRules(t *testing.T) {
	e, d := newPump(t)
	rs, as, h := morning(e, d.Now())
	e.Update(d.Now(), rs, as, h)
	body, _ := scrape(t, e, "/metrics", acceptText)
	for name, mf := range parse(t, body) {
		if mf.GetHelp() == "" {
			t.Errorf("%s: no help", name)
		}
		if total := strings.HasSuffix(name, "_total"); total != (mf.GetType() == dto.MetricType_COUNTER) {
			t.Errorf("%s: is a %v", name, mf.GetType())
		}
		for _, m := range mf.Metric {
			if m.TimestampMs != nil {
				t.Errorf("%s: has a time stamp", name)
			}
			v := m.GetGauge().GetValue() + m.GetCounter().GetValue()
			if math.IsNaN(v) || math.IsInf(v, 0) {
				t.Errorf("%s %v: %v is no number", name, m.Label, v)
			}
		}
	}
	om, _ := scrape(t, e, "/metrics", acceptOpenMetrics)
	if !strings.HasSuffix(om, "\n# EOF\n") || strings.Count(om, "# EOF") != 1 {
		t.Error("OpenMetrics: the last line, and only it, must be # EOF")
	}
	for l := range strings.Lines(om) {
		if f := strings.Fields(l); f[0] == "#" && len(f) > 2 && f[1] == "TYPE" && strings.HasSuffix(f[2], "_total") {
			t.Errorf("OpenMetrics: a family's name has no _total: %s", l)
		}
	}
}

// promised shows a page to a registry as a collector would: each sample with
// the description of its family, so that a pedantic one checks them all.
type promised struct{ *Exporter }

func (p promised) Describe(ch chan<- *prometheus.Desc) {
	for _, f := range families() {
		ch <- f.desc()
	}
}

// ownFamilies gathers nothing of the library.
func ownFamilies(e *Exporter) *gatherer {
	none := prometheus.NewRegistry()
	return &gatherer{Exporter: e, process: seldom{of: none}, registry: none}
}

func (f *family) desc() *prometheus.Desc { return prometheus.NewDesc(f.name, f.help, f.labels, nil) }

func (p promised) Collect(ch chan<- prometheus.Metric) {
	mfs, done, err := ownFamilies(p.Exporter).Gather()
	if err != nil {
		ch <- prometheus.NewInvalidMetric(buildInfo.desc(), err)
	}
	for _, mf := range mfs {
		i := slices.IndexFunc(families(), func(f *family) bool { return f.name == mf.GetName() })
		for _, m := range mf.Metric {
			ch <- newLine(families()[i], m)
		}
	}
	done()
}

// line is one sample of a page that may be shown anew meanwhile.
type line struct {
	desc    *prometheus.Desc
	labels  []*dto.LabelPair
	gauge   *dto.Gauge
	counter *dto.Counter
}

func newLine(f *family, m *dto.Metric) line {
	l := line{desc: f.desc(), labels: m.Label}
	if m.Gauge != nil {
		l.gauge = &dto.Gauge{Value: new(m.Gauge.GetValue())}
	}
	if m.Counter != nil {
		l.counter = &dto.Counter{Value: new(m.Counter.GetValue())}
	}
	return l
}

func (l line) Desc() *prometheus.Desc { return l.desc }

func (l line) Write(m *dto.Metric) error {
	m.Label, m.Gauge, m.Counter = l.labels, l.gauge, l.counter
	return nil
}

// A pedantic registry checks every sample against what Describe promised.
func TestPedanticAndLint(t *testing.T) {
	for _, state := range []string{"before the first update", "live", "loop dead"} {
		e, d := newPump(t)
		if state != "before the first update" {
			rs, as, h := morning(e, d.Now())
			e.Update(d.Now(), rs, as, h)
		}
		if state == "loop dead" {
			d.advance(time.Minute)
		}
		reg := prometheus.NewPedanticRegistry()
		if err := reg.Register(promised{e}); err != nil {
			t.Fatal(err)
		}
		problems, err := testutil.GatherAndLint(reg)
		if err != nil {
			t.Errorf("%s: %v", state, err)
		}
		for _, p := range problems {
			t.Errorf("%s: %s: %s", state, p.Metric, p.Text)
		}
		if n := testutil.CollectAndCount(promised{e}); n < 8*(1+statuses-2) {
			t.Errorf("%s: %d samples are too few to prove anything", state, n)
		}
	}
}

func TestEveryQuantityHasAFamily(t *testing.T) {
	seen := map[string]bool{}
	for q := sensors.Temperature; int(q) < len(quantities); q++ {
		if quantities[q] == nil {
			t.Fatalf("quantity %d has no family", q)
		}
		seen[quantities[q].name] = true
	}
	if len(seen) != len(quantities) {
		t.Errorf("%d families for %d quantities", len(seen), len(quantities))
	}
	func() { // a quantity added later must be added here
		defer func() {
			if recover() == nil {
				t.Errorf("quantity %d exists and has no family here", len(quantities))
			}
		}()
		_ = sensors.Quantity(len(quantities)).Unit()
	}()
}

// The landing page shows what the linker put in as text.
func TestLandingPageEscapes(t *testing.T) {
	o := pumpOpts(newDial())
	o.Version = "<b>1"
	e, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	r := httptest.NewRecorder()
	e.server.Handler.ServeHTTP(r, httptest.NewRequest("GET", "/", nil))
	if b := r.Body.String(); !strings.Contains(b, "&lt;b&gt;1") || strings.Contains(b, "<b>") {
		t.Errorf("landing page:\n%s", b)
	}
}

// The process's own families are read anew once they are too old, and at once
// when the clock went back.
func TestProcessIsReadSeldom(t *testing.T) {
	n := 0
	s := seldom{of: prometheus.GathererFunc(func() ([]*dto.MetricFamily, error) { n++; return nil, nil })}
	now := newDial().Now()
	for i, step := range []struct {
		by   time.Duration
		want int
	}{{0, 1}, {0, 1}, {processEvery - 1, 1}, {1, 2}, {time.Second, 2}, {-2 * time.Second, 3}, {time.Hour, 4}} {
		now = now.Add(step.by)
		s.gather(now)
		if n != step.want {
			t.Errorf("step %d: read %d times, want %d", i, n, step.want)
		}
	}
}

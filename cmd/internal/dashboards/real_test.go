package dashboards

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"math"
	"net"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"charwarden/cmd/internal/names"
)

// runFile names, if set, an OpenMetrics file of real runs on which every
// expression is executed too: two or more runs, exported with their numbers.
const runFile = "CHARWARDEN_OPENMETRICS"

// spare are metrics of the page that tell of the daemon's present, and channels
// that a simulated rig lacks: no exported run needs to hold them.
var spare = []string{
	names.LoopAgeSeconds, names.TickSeconds, names.TickMaxSeconds, names.ReadingsMissed, names.ReadingsDropped,
	names.BusStuckSeconds, names.MQTTConnected, names.MQTTDropped, names.ChannelAgeSeconds,
	names.RunLogDropped, names.RunLogFaults, names.RunLogFileBytes, names.RunLogQueuedBytes,
	"disk_free",
}

// tool finds a program of Debian's package prometheus. Without it the test is
// skipped, but never in CI.
func tool(t *testing.T, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err == nil {
		return path
	}
	if os.Getenv("CI") == "true" {
		t.Fatalf("%v: CI needs it: apt-get install -y prometheus", err)
	}
	t.Skipf("%v: to run this test: apt-get install -y prometheus", err)
	return ""
}

// Every expression of every dashboard, on a real Prometheus that holds runs.
func TestEveryExpressionHasData(t *testing.T) {
	tool(t, "prometheus")
	t.Run("made up", func(t *testing.T) {
		file := filepath.Join(t.TempDir(), "runs.om")
		f, err := os.Create(file)
		if err != nil {
			t.Fatal(err)
		}
		if err := writeSynth(f, synthRuns...); err != nil {
			t.Fatal(err)
		}
		if err := f.Close(); err != nil {
			t.Fatal(err)
		}
		s := execute(t, file, nil)
		checkFigures(t, s)
	})
	t.Run("real", func(t *testing.T) {
		file := os.Getenv(runFile)
		if file == "" {
			t.Skipf("%s names no OpenMetrics file of real runs", runFile)
		}
		execute(t, file, spare)
	})
}

// execute backfills an OpenMetrics file into a Prometheus and asks it for every
// expression. Each must have at least one series, but for those with a metric or
// a channel of spare that the file does not hold.
func execute(t *testing.T, file string, spare []string) store {
	t.Helper()
	s := startStore(t, file)
	if n := len(s.ask(t, `charwarden_no_such_metric{run=~".*"}`, true, 0)); n != 0 {
		t.Fatalf("a metric that is not there has %d series: the check cannot fail", n)
	}
	// promtool drops what is out of order or double without a word.
	stored := 0.
	for name := range s.holds {
		if len(metricsOf(name)) == 0 {
			continue // a channel
		}
		for _, a := range s.ask(t, fmt.Sprintf("sum(count_over_time(%s[%s]))", name, span(s.to.Sub(s.from)+time.Second)), true, 0) {
			stored += a.last(t)
		}
	}
	if stored != float64(s.samples) {
		t.Errorf("%s: %d samples written, the server has %.0f", file, s.samples, stored)
	}
	asked := 0
	check := func(where, expr string, instant bool, least time.Duration) (labels string) {
		for _, name := range spare {
			if !s.holds[name] && regexp.MustCompile(`\b`+name+`\b`).MatchString(expr) {
				t.Logf("%s: left out: the file holds no %s", where, name)
				return ""
			}
		}
		asked++
		got := s.ask(t, expr, instant, least)
		if len(got) == 0 {
			t.Errorf("%s: no series for\n%s", where, expr)
			return ""
		}
		return strings.Join(slices.Sorted(maps.Keys(got[0].Metric)), " ")
	}
	for _, d := range readAll(t) {
		for _, p := range d.Panels {
			columns := map[string]bool{}
			for _, q := range p.Targets {
				if labels := check(p.Title, q.Expr, q.Instant, p.step(t)); labels != "" {
					columns[labels] = true
				}
			}
			// Columns are joined by the labels that they share.
			if q := p.Targets; len(q) > 0 && q[0].Format == "table" && len(columns) > 1 {
				t.Errorf("%s: its columns have different labels: %v", p.Title, columns)
			}
		}
		for _, a := range d.Annotations.List {
			check(a.Name, a.Expr, false, 0)
		}
		for _, v := range d.Templating.List {
			expr, ok := v.Query.(string)
			m := regexp.MustCompile(`^label_values\((\w+), (\w+)\)$`).FindStringSubmatch(expr)
			if !ok || m == nil || m[2] == labelRig {
				continue // no expression; or of live series alone
			}
			asked++
			if len(s.values(t, m[1], m[2])) == 0 {
				t.Errorf("%s: variable %s: %s has no value", d.Title, v.Name, expr)
			}
		}
	}
	t.Logf("%d expressions over %v", asked, s.to.Sub(s.from))
	if asked < 40 {
		t.Errorf("only %d expressions", asked)
	}
	return s
}

// store is a Prometheus with a backfilled file, and what is in that.
type store struct {
	url      string
	from, to time.Time
	samples  int             // lines of the file
	holds    map[string]bool // metrics and channels
}

func startStore(t *testing.T, file string) store {
	t.Helper()
	s := store{holds: map[string]bool{}}
	s.scan(t, file)
	dir := t.TempDir()
	data, conf := filepath.Join(dir, "data"), filepath.Join(deploy, "prometheus", "analysis.yml")
	// The blocks are there before the server starts: a running one sees them late.
	out, err := exec.CommandContext(t.Context(), tool(t, "promtool"), "tsdb", "create-blocks-from", "openmetrics", "-q", file, data).CombinedOutput()
	if err != nil {
		t.Fatalf("promtool tsdb create-blocks-from openmetrics %s: %v\n%s", file, err, out)
	}
	free, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	addr := free.Addr().String()
	if err := free.Close(); err != nil {
		t.Fatal(err)
	}
	s.url = "http://" + addr
	var logs strings.Builder // read after Wait only
	cmd := exec.Command(tool(t, "prometheus"), "--config.file="+conf, "--storage.tsdb.path="+data,
		"--storage.tsdb.retention.time=10y", "--web.listen-address="+addr, "--log.level=warn")
	cmd.Stdout, cmd.Stderr = &logs, &logs
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() { ended <- cmd.Wait() }()
	t.Cleanup(func() {
		cmd.Process.Signal(syscall.SIGTERM)
		select {
		case <-ended:
		case <-time.After(5 * time.Second):
			cmd.Process.Kill()
			<-ended
		}
		if t.Failed() {
			t.Logf("prometheus said:\n%s", logs.String())
		}
	})
	for end := time.Now().Add(15 * time.Second); ; time.Sleep(50 * time.Millisecond) {
		res, err := http.Get(s.url + "/-/ready")
		if err == nil {
			res.Body.Close()
			if res.StatusCode == http.StatusOK {
				return s
			}
		}
		if time.Now().After(end) {
			t.Fatalf("prometheus is not ready: %v", err)
		}
	}
}

// scan reads which metrics and channels a file holds and from when to when.
func (s *store) scan(t *testing.T, file string) {
	t.Helper()
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	first, last := math.Inf(1), math.Inf(-1)
	lines := bufio.NewScanner(f)
	lines.Buffer(nil, 1<<20)
	for lines.Scan() {
		line := lines.Text()
		if strings.HasPrefix(line, "#") {
			continue
		}
		s.holds[line[:strings.IndexAny(line, "{ ")]] = true
		if _, after, ok := strings.Cut(line, names.LabelChannel+`="`); ok {
			s.holds[after[:strings.IndexByte(after, '"')]] = true
		}
		at, err := strconv.ParseFloat(line[strings.LastIndexByte(line, ' ')+1:], 64)
		if err != nil {
			t.Fatalf("%s: %q: %v", file, line, err)
		}
		first, last = min(first, at), max(last, at)
		s.samples++
	}
	if err := lines.Err(); err != nil || last < first {
		t.Fatalf("%s: no samples: %v", file, err)
	}
	s.from, s.to = time.UnixMilli(int64(first*1000)).UTC(), time.UnixMilli(int64(last*1000)).UTC()
}

// step is the shortest that a panel asks for.
func (p readPanel) step(t *testing.T) time.Duration {
	if p.Interval == "" {
		return 0
	}
	d, err := time.ParseDuration(p.Interval)
	if err != nil {
		t.Fatalf("%s: %v", p.Title, err)
	}
	return d
}

// answer is one series: its labels, and its values in order of time.
type answer struct {
	Metric map[string]string
	Value  [2]any
	Values [][2]any
}

// last value of the series.
func (a answer) last(t *testing.T) float64 {
	t.Helper()
	v := a.Value
	if len(a.Values) > 0 {
		v = a.Values[len(a.Values)-1]
	}
	f, err := strconv.ParseFloat(v[1].(string), 64)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// ask puts the dashboards' variables in and asks as Grafana does: at the end of
// the range, or over all of it in steps of least or more. The rates' interval is
// that of a data source with a sample a second.
func (s store) ask(t *testing.T, expr string, instant bool, least time.Duration) []answer {
	t.Helper()
	step := max(least, 15*time.Second, (s.to.Sub(s.from) / 5000).Round(time.Second))
	run := ".*"
	if !strings.Contains(expr, "$"+varRig) {
		run = ".+"
	}
	expr = strings.NewReplacer(
		"$__rate_interval", span(step+time.Second), "$__interval", span(step), "$__range", span(s.to.Sub(s.from)),
		"$"+varRun, run, "$"+varRig, ".*").Replace(expr)
	if strings.Contains(expr, "$") {
		t.Fatalf("a variable is left: %s", expr)
	}
	form := url.Values{"query": {expr}, "time": {stamp(s.to)}}
	path := "/api/v1/query"
	if !instant {
		path = "/api/v1/query_range"
		form = url.Values{"query": {expr}, "start": {stamp(s.from)}, "end": {stamp(s.to)}, "step": {span(step)}}
	}
	var got struct{ Result []answer }
	s.get(t, path+"?"+form.Encode(), &got)
	return got.Result
}

// values of a label of a metric.
func (s store) values(t *testing.T, metric, label string) (all []string) {
	t.Helper()
	form := url.Values{"match[]": {metric}, "start": {stamp(s.from)}, "end": {stamp(s.to)}}
	s.get(t, "/api/v1/label/"+label+"/values?"+form.Encode(), &all)
	return all
}

func (s store) get(t *testing.T, path string, into any) {
	t.Helper()
	res, err := http.Get(s.url + path)
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	b, err := io.ReadAll(res.Body)
	if err != nil {
		t.Fatal(err)
	}
	var all struct {
		Error string
		Data  json.RawMessage
	}
	if err := json.Unmarshal(b, &all); err != nil || res.StatusCode != http.StatusOK {
		said, _ := url.QueryUnescape(path)
		t.Fatalf("%s: %s: %s %v", said, res.Status, all.Error, err)
	}
	if err := json.Unmarshal(all.Data, into); err != nil {
		// A scalar or a string instead of series.
		t.Fatalf("%s: %v", path, err)
	}
}

func stamp(at time.Time) string { return fmt.Sprintf("%.3f", float64(at.UnixMilli())/1000) }

func span(d time.Duration) string { return fmt.Sprintf("%ds", int(math.Ceil(d.Seconds()))) }

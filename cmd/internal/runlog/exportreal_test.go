package runlog

import (
	"encoding/json"
	"fmt"
	"io"
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
)

// Prometheus 2.42 itself, the version of Debian 12, is the judge of whether
// every sample that we counted arrives: its tool drops what is out of order or
// twice there without a word.
func TestRealPrometheusKeepsEverySample(t *testing.T) {
	promtool, prometheus := tool(t, "promtool", "prometheus"), tool(t, "prometheus", "prometheus")
	dir := t.TempDir()
	// One boot that begins in 1970 and is synced in its second file; the clock is
	// stepped back by 300 ms later, and slewed. It runs over midnight, where
	// Prometheus begins another block.
	midnight := time.Date(2026, 5, 2, 0, 0, 0, 0, time.UTC)
	h := pump()
	file := func(n int, boot string, from int64, anchors ...Anchor) *File {
		h.Boot, h.Ms, h.Part = boot, from, n
		m := makeFile(t, dir, n, h)
		m.exec("BEGIN")
		for i := range int64(3000) { // 5 minutes
			var co any = i % 700
			if i%500 < 3 {
				co = "checksum"
			}
			m.tick(from+i*100, i*7%9000, -i, co)
			if i%10 == 0 {
				m.second(from+i*100, i, nil)
			}
			if i%400 == 7 {
				m.transition(from+i*100, "co_alarm", "alarm", "normal", "unacknowledged")
				m.transition(from+i*100, "co_alarm", "alarm", "unacknowledged", "acknowledged")
				m.transition(from+i*100+40, "co_alarm", "alarm", "acknowledged", "normal")
			}
		}
		m.put("INSERT INTO phases VALUES (NULL, ?, 'running', 0)", from)
		for _, a := range anchors {
			m.anchor(a.Ms, a.Wall, a.Quality)
		}
		m.exec("COMMIT")
		return opened(t, m.done())
	}
	const minute = 60_000
	files := []*File{
		file(1, "b1", 1000, Anchor{1000, epoch, Unset}),
		file(2, "b1", 6*minute, Anchor{6 * minute, epoch.Add(6 * time.Minute), Unset}, Anchor{7 * minute, midnight.Add(5 * time.Minute), Synced},
			Anchor{8 * minute, midnight.Add(6*time.Minute - 300*time.Millisecond), Synced}, Anchor{10 * minute, midnight.Add(8*time.Minute - 320*time.Millisecond), Synced}),
	}
	for what, c := range map[string]struct {
		files []*File
		o     ExportOpts
		from  time.Time
	}{
		"two files of a boot": {files, ExportOpts{}, midnight.Add(-2 * time.Minute)},
		// After a power cut the clock came back early: the same time once more.
		"overlapping, with labels": {append(files[:2:2], file(3, "b2", 1000, Anchor{1000, midnight.Add(time.Minute), Free})),
			ExportOpts{RunLabel: true, Rig: `p"u\mp`}, midnight.Add(-2 * time.Minute)},
		"thinned": {files, ExportOpts{Every: 10 * time.Second, Channels: []string{"co", "gas_flow"}}, midnight.Add(-2 * time.Minute)},
	} {
		t.Run(what, func(t *testing.T) {
			page := filepath.Join(t.TempDir(), "runs.om")
			w, err := os.Create(page)
			if err != nil {
				t.Fatal(err)
			}
			counts, err := ExportOpenMetrics(t.Context(), w, c.files, c.o)
			if err != nil {
				t.Fatal(err)
			}
			if err := w.Close(); err != nil {
				t.Fatal(err)
			}
			blocks := backfill(t, promtool, page)
			if got := samplesInBlocks(t, promtool, blocks); got != counts.Samples || got < 500 {
				t.Errorf("promtool kept %d of %d samples", got, counts.Samples)
			}
			server := startServer(t, prometheus, blocks)
			for _, s := range counts.Series {
				got := server.ask(t, "count_over_time("+s.Name+"[1h])", c.from.Add(50*time.Minute))
				if len(got) != 1 || got[0] != strconv.FormatInt(s.Samples, 10) {
					t.Errorf("%s: %v in Prometheus, counted %d", s.Name, got, s.Samples)
				}
			}
		})
	}
	if _, err := ExportOpenMetrics(t.Context(), io.Discard, []*File{files[0], files[0]}, ExportOpts{}); err == nil || !strings.Contains(err.Error(), "runs 1 and 1 overlap") {
		t.Errorf("overlap: %v", err)
	}
}

// Were a sample there twice, promtool would drop it without a word: the counts
// would tell.
func TestRealPromtoolDropsSilently(t *testing.T) {
	promtool := tool(t, "promtool", "prometheus")
	page := filepath.Join(t.TempDir(), "twice.om")
	if err := os.WriteFile(page, []byte("# TYPE a gauge\na 1 1777622430.000\na 2 1777622430.000\na 3 1777622429.000\n# EOF\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	if n := samplesInBlocks(t, promtool, backfill(t, promtool, page)); n != 1 {
		t.Errorf("%d samples kept", n)
	}
}

// backfill makes blocks of a page.
func backfill(t *testing.T, promtool, page string) (blocks string) {
	t.Helper()
	blocks = filepath.Join(t.TempDir(), "data")
	if out, err := exec.CommandContext(t.Context(), promtool, "tsdb", "create-blocks-from", "openmetrics", page, blocks).CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	return blocks
}

// samplesInBlocks is the sum of the column NUM SAMPLES.
func samplesInBlocks(t *testing.T, promtool, blocks string) (n int64) {
	t.Helper()
	if err := os.MkdirAll(filepath.Join(blocks, "wal"), 0o755); err != nil { // without it promtool 2.42 will not list
		t.Fatal(err)
	}
	out, err := exec.CommandContext(t.Context(), promtool, "tsdb", "list", blocks).CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	lines := strings.Split(strings.TrimSpace(string(out)), "\n")
	wide := regexp.MustCompile(` {2,}`) // between columns
	column := slices.Index(wide.Split(lines[0], -1), "NUM SAMPLES")
	if column < 0 {
		t.Fatalf("no NUM SAMPLES:\n%s", out)
	}
	for _, line := range lines[1:] {
		k, err := strconv.ParseInt(wide.Split(line, -1)[column], 10, 64)
		if err != nil {
			t.Fatalf("%v\n%s", err, out)
		}
		n += k
	}
	return n
}

// server is a Prometheus of our own on loopback.
type server struct{ url string }

func startServer(t *testing.T, prometheus, data string) server {
	t.Helper()
	conf := filepath.Join(t.TempDir(), "prometheus.yml")
	if err := os.WriteFile(conf, []byte("scrape_configs: []\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	free, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	addr := free.Addr().String()
	free.Close()
	cmd := exec.Command(prometheus, "--config.file="+conf, "--storage.tsdb.path="+data, "--storage.tsdb.retention.time=10y",
		"--web.listen-address="+addr, "--log.level=warn")
	logs, err := os.Create(filepath.Join(t.TempDir(), "log"))
	if err != nil {
		t.Fatal(err)
	}
	cmd.Stdout, cmd.Stderr = logs, logs
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		cmd.Process.Signal(syscall.SIGTERM)
		killer := time.AfterFunc(10*time.Second, func() { cmd.Process.Kill() })
		cmd.Wait()
		killer.Stop()
		logs.Close()
		if t.Failed() {
			b, _ := os.ReadFile(logs.Name())
			t.Logf("prometheus said:\n%s", b)
		}
	})
	s := server{"http://" + addr}
	for end := time.Now().Add(30 * time.Second); ; time.Sleep(50 * time.Millisecond) {
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

// ask for the values of a query at a time.
func (s server) ask(t *testing.T, query string, at time.Time) (values []string) {
	t.Helper()
	res, err := http.Get(s.url + "/api/v1/query?query=" + url.QueryEscape(query) + "&time=" + fmt.Sprint(at.Unix()))
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	var answer struct {
		Error string
		Data  struct{ Result []struct{ Value [2]any } }
	}
	if err := json.NewDecoder(res.Body).Decode(&answer); err != nil || answer.Error != "" {
		t.Fatalf("%s: %v %s", query, err, answer.Error)
	}
	for _, r := range answer.Data.Result {
		values = append(values, r.Value[1].(string))
	}
	return values
}

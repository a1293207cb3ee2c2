package metrics

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
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"charwarden/cmd/internal/names"
	"charwarden/sensors"
)

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

// promtool checks the page as Prometheus' own linter does.
func TestRealPromtool(t *testing.T) {
	promtool := tool(t, "promtool")
	e, d := newPump(t)
	rs, as, h := morning(e, d.Now())
	e.Update(d.Now(), rs, as, h)
	check := func(page string) (string, error) {
		cmd := exec.CommandContext(t.Context(), promtool, "check", "metrics")
		cmd.Stdin = strings.NewReader(page)
		out, err := cmd.CombinedOutput()
		return string(out), err
	}
	live, _ := scrape(t, e, "/metrics", acceptText)
	d.advance(time.Minute)
	dead, _ := scrape(t, e, "/metrics", acceptText)
	for what, page := range map[string]string{"live": live, "dead": dead} {
		if out, err := check(page); err != nil || out != "" {
			t.Errorf("%s: promtool check metrics: %v\n%s", what, err, out)
		}
	}
	if _, err := check(live + "pump_starts_total 1\n"); err == nil {
		t.Error("promtool passes a metric without help: the check cannot fail")
	}
}

// realServer is a Prometheus of our own on loopback, with its data in a temporary
// directory. It scrapes target twice a second in both formats.
type realServer struct{ url string }

func startPrometheus(t *testing.T, target string) realServer {
	t.Helper()
	prometheus := tool(t, "prometheus")
	dir := t.TempDir()
	conf := filepath.Join(dir, "prometheus.yml")
	err := os.WriteFile(conf, fmt.Appendf(nil, `
global: {scrape_interval: 500ms, scrape_timeout: 400ms}
scrape_configs:
- job_name: negotiated
  static_configs: [{targets: [%[1]q]}]
- job_name: text
  params: {plain: ["1"]}
  static_configs: [{targets: [%[1]q]}]
`, target), 0o644)
	if err != nil {
		t.Fatal(err)
	}
	free, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	addr := free.Addr().String()
	free.Close()

	logs := &words{}
	cmd := exec.Command(prometheus, "--config.file="+conf, "--storage.tsdb.path="+filepath.Join(dir, "data"),
		"--web.listen-address="+addr, "--log.level=warn")
	cmd.Stdout, cmd.Stderr = logs, logs
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
			t.Logf("prometheus said:\n%s", logs)
		}
	})
	return realServer{"http://" + addr}
}

// instant asks for the query's values by job. A Prometheus that does not
// answer yet has none.
func (p realServer) instant(t *testing.T, query string) map[string]string {
	t.Helper()
	res, err := http.Get(p.url + "/api/v1/query?query=" + url.QueryEscape(query))
	if err != nil {
		return nil
	}
	defer res.Body.Close()
	b, err := io.ReadAll(res.Body)
	if err != nil || res.StatusCode != http.StatusOK {
		return nil
	}
	var answer struct {
		Data struct {
			Result []struct {
				Metric map[string]string
				Value  [2]any
			}
		}
	}
	if err := json.Unmarshal(b, &answer); err != nil {
		t.Fatalf("%s: %v\n%s", query, err, b)
	}
	values := map[string]string{}
	for _, r := range answer.Data.Result {
		values[r.Metric["job"]] = r.Value[1].(string)
	}
	return values
}

// wait asks until both jobs have the value; "" means that neither has one.
func (p realServer) wait(t *testing.T, query, want string, limit time.Duration) {
	t.Helper()
	end := time.Now().Add(limit)
	for {
		got := p.instant(t, query)
		if want == "" && got != nil && len(got) == 0 || want != "" && got["negotiated"] == want && got["text"] == want {
			return
		}
		if time.Now().After(end) {
			t.Fatalf("%s = %v after %v, want %q of both jobs", query, got, limit, want)
		}
		time.Sleep(50 * time.Millisecond)
	}
}

func TestRealPrometheusScrapes(t *testing.T) {
	tool(t, "prometheus")
	e, d := newPump(t)
	rs, as, h := morning(e, d.Now())
	e.Update(d.Now(), rs, as, h)

	// Note what was negotiated; the job `text` is made to ask for text.
	var mu sync.Mutex
	formats := map[string]string{}
	page := e.server.Handler
	e.server.Handler = http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		job := "negotiated"
		if r.URL.Query().Get("plain") != "" {
			job = "text"
			r.Header.Set("Accept", acceptText)
		}
		page.ServeHTTP(w, r)
		mu.Lock()
		formats[job], _, _ = strings.Cut(w.Header().Get("Content-Type"), ";")
		mu.Unlock()
	})
	serve(t, e)
	p := startPrometheus(t, e.Addr().String())

	p.wait(t, wallValue, "412.25", 15*time.Second)
	p.wait(t, "up", "1", 2*time.Second)
	p.wait(t, wallUp, "1", 2*time.Second)
	p.wait(t, names.ChannelFaults+`{channel="gas_out",fault="open"}`, "1", 2*time.Second)
	p.wait(t, names.AlarmState+`{alarm="gas_out_fault",state="unacknowledged"}`, "1", 2*time.Second)
	p.wait(t, names.COPpm, "17.5", 2*time.Second)
	p.wait(t, labelled(names.TemperatureCelsius, names.LabelChannel, "gas_out"), "", 2*time.Second)
	mu.Lock()
	if formats["negotiated"] != "application/openmetrics-text" || formats["text"] != "text/plain" {
		t.Errorf("formats %v", formats)
	}
	mu.Unlock()

	// A channel that goes bad is stale at the next scrape, not after 5 minutes.
	rs[0] = sensors.Bad("wall", d.Now(), sensors.Open, io.EOF)
	e.Update(d.Now(), rs, as, h)
	p.wait(t, wallValue, "", 3*time.Second)
	p.wait(t, wallUp, "0", 2*time.Second)
	rs[0] = reading("wall", d.Now(), 413)
	e.Update(d.Now(), rs, as, h)
	p.wait(t, wallValue, "413", 3*time.Second)

	// So is every value when the loop dies, and what stood still stands.
	d.advance(4 * time.Second)
	p.wait(t, wallValue, "", 3*time.Second)
	p.wait(t, wallUp, "0", 2*time.Second)
	p.wait(t, names.LoopAgeSeconds, "4", 2*time.Second)
	p.wait(t, names.AlarmState+`{alarm="gas_out_fault",state="unacknowledged"}`, "1", 2*time.Second)
	p.wait(t, names.AlarmState+`{alarm="co_evacuate",state="normal"}`, "", 2*time.Second)
}

package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"
)

// footprintTime is long enough for the heap to come to rest and for the CPU
// times in /proc, which have steps of 10 ms.
const footprintTime = time.Minute

// BenchmarkFootprint is the memory and CPU time of the daemon as it is released
// at the reference load, with mosquitto as its broker and a scrape each second,
// beside those of Prometheus' node exporter with its default collectors, scraped
// in the same minute. The aims stand in testdata/aims.csv.
func BenchmarkFootprint(b *testing.B) {
	exporter := debian(b, "prometheus-node-exporter", "prometheus-node-exporter")
	broker := startMosquitto(b)
	ours, theirs := fmt.Sprintf("127.0.0.1:%d", freePort(b)), fmt.Sprintf("127.0.0.1:%d", freePort(b))
	file := filepath.Join(b.TempDir(), "rig.toml")
	if err := os.WriteFile(file, []byte(refLoad(b, "tcp://"+broker, ours)), 0o644); err != nil {
		b.Fatal(err)
	}
	daemon := startProgram(b, buildCanned(b), "run", "-c", file)
	anchor := startProgram(b, exporter, "--web.listen-address="+theirs)
	for _, addr := range []string{ours, theirs} {
		within(b, 10*time.Second, addr+" answers", func() bool { return scrape(addr) == nil })
	}
	for b.Loop() {
		scrapeBoth := func(seconds time.Duration) {
			for end := time.Now().Add(seconds); time.Now().Before(end); time.Sleep(time.Second) {
				for _, addr := range []string{ours, theirs} {
					if err := scrape(addr); err != nil {
						b.Fatal(err)
					}
				}
			}
		}
		scrapeBoth(5 * time.Second) // what is done once at the start is over
		began, d0, a0 := time.Now(), cpuTime(b, daemon), cpuTime(b, anchor)
		scrapeBoth(footprintTime)
		took := time.Since(began)
		d, a := cpuTime(b, daemon)-d0, cpuTime(b, anchor)-a0
		dMem, aMem := resident(b, daemon), resident(b, anchor)
		b.ReportMetric(dMem, "MB")
		b.ReportMetric(aMem, "anchor-MB")
		b.ReportMetric(dMem/aMem, "MB-ratio")
		b.ReportMetric(100*d.Seconds()/took.Seconds(), "cpu-%")
		b.ReportMetric(100*a.Seconds()/took.Seconds(), "anchor-cpu-%")
		b.ReportMetric(d.Seconds()/a.Seconds(), "cpu-ratio")
	}
	b.ReportMetric(0, "ns/op")
	checkLoad(b, ours)
}

// buildCanned builds the daemon as for a release, but with the canned board
// behind newMachine. The package's own files stay as they are: the compiler is
// shown a changed board.go, and the canned board's file under another name.
func buildCanned(b *testing.B) (exe string) {
	b.Helper()
	dir := b.TempDir()
	src, err := os.ReadFile("board.go")
	if err != nil {
		b.Fatal(err)
	}
	const own = "func newMachine() *machine {"
	const canned = "func newMachine() *cannedBoard { ownMachine(); return newCannedBoard() }\n\nfunc ownMachine() *machine {"
	if bytes.Count(src, []byte(own)) != 1 {
		b.Fatalf("board.go has not exactly one %q any more", own)
	}
	board := filepath.Join(dir, "board.go")
	if err := os.WriteFile(board, bytes.Replace(src, []byte(own), []byte(canned), 1), 0o644); err != nil {
		b.Fatal(err)
	}
	here, err := os.Getwd()
	if err != nil {
		b.Fatal(err)
	}
	overlay, err := json.Marshal(map[string]any{"Replace": map[string]string{
		filepath.Join(here, "board.go"):  board,
		filepath.Join(here, "canned.go"): filepath.Join(here, "canned_bench_test.go"),
	}})
	if err != nil {
		b.Fatal(err)
	}
	list := filepath.Join(dir, "overlay.json")
	if err := os.WriteFile(list, overlay, 0o644); err != nil {
		b.Fatal(err)
	}
	exe = filepath.Join(dir, "charwarden")
	cmd := exec.Command("go", "build", "-overlay", list, "-trimpath", "-ldflags", "-s -w", "-o", exe, ".")
	cmd.Env = append(os.Environ(), "CGO_ENABLED=0")
	if out, err := cmd.CombinedOutput(); err != nil {
		b.Fatalf("%v: %s", err, out)
	}
	return exe
}

// debian finds a program, or skips and says which Debian package has it.
func debian(b *testing.B, program, pkg string) string {
	b.Helper()
	exe, err := exec.LookPath(program)
	if err != nil {
		b.Skipf("no %s: apt-get install %s", program, pkg)
	}
	return exe
}

// startProgram runs a program until the benchmark ends.
func startProgram(b *testing.B, exe string, args ...string) (pid int) {
	b.Helper()
	cmd := exec.Command(exe, args...)
	log := &strings.Builder{}
	cmd.Stderr = log
	if err := cmd.Start(); err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() {
		cmd.Process.Signal(os.Interrupt)
		cmd.Wait()
		if b.Failed() {
			b.Logf("%s:\n%s", exe, log)
		}
	})
	return cmd.Process.Pid
}

// scrape asks as Prometheus 2.42 does.
func scrape(addr string) error {
	req, err := http.NewRequest(http.MethodGet, "http://"+addr+"/metrics", nil)
	if err != nil {
		return err
	}
	req.Header.Set("Accept", "application/openmetrics-text;version=1.0.0,application/openmetrics-text;version=0.0.1;q=0.75,text/plain;version=0.0.4;q=0.5,*/*;q=0.1")
	req.Header.Set("Accept-Encoding", "gzip")
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		return err
	}
	defer resp.Body.Close()
	_, err = io.Copy(io.Discard, resp.Body)
	return err
}

// checkLoad fails unless the daemon did the work that the figures are for.
func checkLoad(b *testing.B, addr string) {
	b.Helper()
	resp, err := http.Get("http://" + addr + "/metrics")
	if err != nil {
		b.Fatal(err)
	}
	defer resp.Body.Close()
	page, err := io.ReadAll(resp.Body)
	if err != nil {
		b.Fatal(err)
	}
	value := func(name string) float64 {
		for line := range strings.Lines(string(page)) {
			if v, ok := strings.CutPrefix(line, name+" "); ok {
				f, _ := strconv.ParseFloat(strings.TrimSpace(v), 64)
				return f
			}
		}
		b.Fatalf("%s is not on the page", name)
		return 0
	}
	for _, c := range []string{"wall_near", "return_line", "suction", "filter_drop", "co", "speed", "supply", "air_humidity"} {
		if value(`charwarden_channel_up{channel="`+c+`"}`) != 1 {
			b.Errorf("%s is not good", c)
		}
	}
	// Six thermocouples, two pressures, CO, speed, supply and air once a second.
	seconds := value("charwarden_ticks_total") / 10
	if sent := value("charwarden_mqtt_published_total"); sent < 11*seconds {
		b.Errorf("%v messages in %.0f s are fewer than the load has", sent, seconds)
	}
	b.Logf("%.0f s: %v ticks missed, %v messages", seconds, value("charwarden_ticks_missed_total"), value("charwarden_mqtt_published_total"))
}

// cpuTime is what a process has used: utime and stime, proc(5), in the usual
// steps of 10 ms.
func cpuTime(b *testing.B, pid int) time.Duration {
	b.Helper()
	stat, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		b.Fatal(err)
	}
	f := strings.Fields(string(stat[bytes.LastIndexByte(stat, ')')+1:]))
	user, err := strconv.Atoi(f[11])
	if err != nil {
		b.Fatal(err)
	}
	system, err := strconv.Atoi(f[12])
	if err != nil {
		b.Fatal(err)
	}
	return time.Duration(user+system) * 10 * time.Millisecond
}

// resident is a process's memory in MB (10^6 bytes): VmRSS of proc(5).
func resident(b *testing.B, pid int) float64 {
	b.Helper()
	status, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		b.Fatal(err)
	}
	kB, err := statusKB(status, "VmRSS:")
	if err != nil {
		b.Fatal(err)
	}
	return kB * 1024 / 1e6
}

// statusKB reads a size out of /proc/PID/status.
func statusKB(status []byte, key string) (kB float64, err error) {
	_, rest, _ := strings.Cut(string(status), key)
	_, err = fmt.Sscan(rest, &kB)
	return kB, err
}

package main

import (
	"bytes"
	"context"
	"fmt"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"
)

// handbooks are the documents whose commands somebody will type.
var handbooks = []string{"README.md", "deploy/first-hour.md"}

// typed are the commands that are run here, in the order of the documents, each
// with what stands for it (as) where it cannot be run as it stands, and why.
var typed = []struct {
	command, as, why string
	wants            string // of its output, a regular expression
	file             string // that it must leave
	background       string // it serves: run until this address answers
}{
	{command: "go run ./cmd/charwarden demo", as: "go run ./cmd/charwarden demo --for 4s --dir d", why: "3 minutes are too long; its runs are read below",
		wants: `An irrigation pump's gas rig, simulated`, file: "d/runs/000001.db"},
	{command: "charwarden runs", as: "charwarden runs --dir d", why: "the demo's runs for the board's", wants: `(?m)^1 .* open `},
	{command: "charwarden report last -o run.html", as: "charwarden report last --dir d -o run.html", why: "the demo's runs for the board's",
		wants: `run\.html: open it in any browser`, file: "run.html"},
	{command: "charwarden report 7 9 -o compare.html", as: "charwarden demo --for 3s --dir e >/dev/null; cp e/runs/000001.db d/runs/000002.db; cp e/runs/000001.db-wal d/runs/000002.db-wal; charwarden report 1 2 --dir d -o compare.html",
		why: "the demo's two runs for the board's", wants: `compare\.html: open it`, file: "compare.html"},
	{command: "charwarden replay last -c stricter.toml", as: `charwarden config | sed 's/^limit = "25 ppm"/limit = "20 ppm"/' >stricter.toml; charwarden replay last --dir d -c stricter.toml`,
		why: "the demo's runs for the board's, and somebody must have written the file", wants: `By these rules: \d+ changes as they were`},
	{command: "charwarden export last --format openmetrics --run-label -o run.om", as: "charwarden export last --dir d --format openmetrics --run-label -o run.om",
		why: "the demo's runs for the board's", wants: `run\.om: \d+ samples`, file: "run.om"},
	{command: "promtool tsdb create-blocks-from openmetrics run.om runs-tsdb", wants: `NUM SAMPLES`, file: "runs-tsdb"},
	{command: "prometheus --config.file=deploy/prometheus/analysis.yml --storage.tsdb.path=runs-tsdb --storage.tsdb.retention.time=10y --web.listen-address=127.0.0.1:9099",
		background: "http://127.0.0.1:9099/-/ready"},
}

// untyped are the commands that cannot be run on any machine, by the reason.
var untyped = map[string][]string{
	"it is this test": {"go test ./..."},
	"needs root, and changes the system": {
		"sudo apt install prometheus",
		"sudo install -m 644 -t /etc/prometheus deploy/prometheus/prometheus.yml deploy/prometheus/charwarden.rules.yml",
		"promtool check config /etc/prometheus/prometheus.yml",
		"sudo systemctl restart prometheus",
	},
	"needs root and Grafana, which Debian has not": {
		"sudo install -D -m 644 -t /var/lib/grafana/dashboards/charwarden deploy/grafana/one-run.json deploy/grafana/runs.json",
		"sudo install -m 644 deploy/grafana/datasource.yaml /etc/grafana/provisioning/datasources/charwarden.yaml",
		"sudo install -m 644 deploy/grafana/provider.yaml /etc/grafana/provisioning/dashboards/charwarden.yaml",
		"sudo systemctl restart grafana-server",
	},
	"typed on a laptop, to a board": {
		"ssh kim@rig.local",
		"ssh kim@rig.local sudo date -s @$(date +%s)",
		"scp charwarden_*_arm64.deb kim@rig.local:",
		"scp kim@10.42.0.1:run.html .",
	},
	"a card, an editor and a Wi-Fi: only on a real board": {
		`printf '%s\n' dtparam=spi=on dtparam=i2c_arm=on | sudo tee -a /boot/firmware/config.txt`,
		"echo i2c-dev | sudo tee /etc/modules-load.d/i2c.conf",
		"sudo reboot",
		"sudo nano /etc/charwarden/rig.toml",
		"sudo nmcli connection add type wifi ifname wlan0 con-name rig ssid rig autoconnect yes connection.autoconnect-priority 10 " +
			"802-11-wireless.mode ap ipv4.method shared ipv4.addresses 10.42.0.1/24 wifi-sec.key-mgmt wpa-psk wifi-sec.psk 'a long word of your own'",
		"sudo nmcli connection up rig",
	},
	"on the board, as root: .ci/board first-hour types it": {
		"sudo apt install ./charwarden_*_$(dpkg --print-architecture).deb mosquitto mosquitto-clients",
		"sudo adduser kim charwarden",
		"exit",
		"sudo install -m 644 /usr/share/charwarden/mosquitto/rig.conf /etc/mosquitto/conf.d/",
		"sudo install -m 644 /usr/share/charwarden/mosquitto/rig.acl /etc/mosquitto/",
		"head -c 24 /dev/urandom | base64 | sudo install -m 600 -o charwarden -g charwarden /dev/stdin /etc/charwarden/mqtt.password",
		"sudo install -m 600 /dev/null /etc/mosquitto/rig.passwd",
		`echo "charwarden:$(sudo cat /etc/charwarden/mqtt.password)" | sudo tee /etc/mosquitto/rig.passwd >/dev/null`,
		"sudo mosquitto_passwd -U /etc/mosquitto/rig.passwd",
		"sudo mosquitto_passwd /etc/mosquitto/rig.passwd kim",
		"sudo chown root:mosquitto /etc/mosquitto/rig.passwd",
		"sudo chmod 640 /etc/mosquitto/rig.passwd",
		"sudo sed -i 's/^# user =/user =/; s/^# password_file =/password_file =/' /etc/charwarden/rig.toml",
		"echo 'net.ipv4.ip_nonlocal_bind = 1' | sudo tee /etc/sysctl.d/60-rig.conf",
		"sudo sysctl -p /etc/sysctl.d/60-rig.conf",
		"sudo systemctl restart mosquitto",
		"systemctl is-active mosquitto",
		"sudo systemctl enable --now charwarden",
		"systemctl is-active charwarden",
		"sleep 20",
	},
	"on the board, with its chips or its daemon: .ci/board first-hour types it": {
		"charwarden check -c /etc/charwarden/rig.toml",
		"charwarden check -c /etc/charwarden/rig.toml --sound",
		"charwarden watch --once",
		"mosquitto_sub -h 10.42.0.1 -u kim -P 'your password' -t charwarden/pump/status -C 1 -W 10",
		"charwarden ack co_bump_age_fault",
		"charwarden calibrate co zero",
		"charwarden calibrate co span --reference 100ppm",
		"charwarden bumptest co",
		"charwarden weighed 0",
		"charwarden filled 6kg",
		"charwarden ready",
		"charwarden note batch 7, oak",
		"charwarden note moisture 8 %",
		"charwarden watch",
		"charwarden ready --after",
	},
}

// Every command that README and the first hour show is run here or named with the
// reason why not, and none is named that they no longer show.
func TestHandbooks(t *testing.T) {
	seen := map[string]bool{}
	for _, book := range handbooks {
		for _, c := range commandsOf(t, book) {
			seen[c] = true
		}
	}
	known := map[string]bool{}
	for _, c := range typed {
		known[c.command] = true
	}
	for why, all := range untyped {
		for _, c := range all {
			if known[c] {
				t.Errorf("named twice: %s (%s)", c, why)
			}
			known[c] = true
		}
	}
	for c := range seen {
		if !known[c] {
			t.Errorf("neither run nor named with a reason: %s", c)
		}
	}
	for c := range known {
		if !seen[c] {
			t.Errorf("no document shows it any more: %s", c)
		}
	}
}

// A stranger types what README shows, one after the other, in a directory with the
// source beside it.
func TestWalk(t *testing.T) {
	w := newWalk(t)
	for _, c := range typed {
		name := strings.Fields(c.command)
		t.Run(strings.Join(name[:min(len(name), 4)], " "), func(t *testing.T) {
			if program := name[0]; program == "promtool" || program == "prometheus" {
				if _, err := exec.LookPath(program); err != nil {
					lacks(t, "apt-get install prometheus: %v", err)
				}
			}
			if (c.as == "") != (c.why == "") {
				t.Fatal("what stands for a command, and why, belong together")
			}
			line := c.command
			if c.as != "" {
				line = c.as
			}
			if c.background != "" {
				w.serve(t, line, c.background)
				return
			}
			out := w.run(t, line)
			if !regexp.MustCompile(c.wants).MatchString(out) {
				t.Errorf("%s: no %s in:\n%s", line, c.wants, out)
			}
			if _, err := os.Stat(filepath.Join(w.dir, c.file)); err != nil {
				t.Errorf("%s: %v", line, err)
			}
		})
	}
}

// walk is a stranger's shell. charwarden on its path is the program under test.
type walk struct {
	dir string
	env []string
}

func newWalk(t *testing.T) *walk {
	t.Helper()
	w := &walk{dir: t.TempDir()}
	root, err := filepath.Abs(repo)
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"cmd", "deploy", "go.mod"} {
		if err := os.Symlink(filepath.Join(root, name), filepath.Join(w.dir, name)); err != nil {
			t.Fatal(err)
		}
	}
	// `go run ./cmd/charwarden` would build once more what go test has built from
	// the same files, for half a minute: this go gives it the program under test.
	bin := t.TempDir()
	script := "#!/bin/sh\n" + `if [ "$1 $2" = "run ./cmd/charwarden" ] && [ -f cmd/charwarden/main.go ]; then shift 2; exec charwarden "$@"; fi
echo "go $*: not in this walk" >&2
exit 1
`
	if err := os.WriteFile(filepath.Join(bin, "go"), []byte(script), 0o755); err != nil {
		t.Fatal(err)
	}
	w.env = append(os.Environ(), "PATH="+bin+string(os.PathListSeparator)+os.Getenv("PATH"), "GORACE=atexit_sleep_ms=0")
	return w
}

func (w *walk) command(ctx context.Context, line string) *exec.Cmd {
	cmd := exec.CommandContext(ctx, "sh", "-c", line)
	cmd.Dir, cmd.Env = w.dir, w.env
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	cmd.Cancel = func() error { return syscall.Kill(-cmd.Process.Pid, syscall.SIGTERM) }
	cmd.WaitDelay = 10 * time.Second
	return cmd
}

func (w *walk) run(t *testing.T, line string) string {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	out, err := w.command(ctx, line).CombinedOutput()
	if err != nil {
		t.Errorf("%s: %v\n%s", line, err, out)
	}
	return string(out)
}

// serve runs a command until url answers.
func (w *walk) serve(t *testing.T, line, url string) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	cmd := w.command(ctx, line)
	var out bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &out
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	done := make(chan error, 1)
	go func() { done <- cmd.Wait() }()
	client := &http.Client{Timeout: time.Second}
	var last error
	for end := time.Now().Add(30 * time.Second); time.Now().Before(end); time.Sleep(100 * time.Millisecond) {
		select {
		case err := <-done:
			cancel()
			t.Fatalf("%s: %v\n%s", line, err, &out)
		default:
		}
		var resp *http.Response
		if resp, last = client.Get(url); last == nil {
			resp.Body.Close()
			if last = fmt.Errorf("%s", resp.Status); resp.StatusCode == http.StatusOK {
				last = nil
				break
			}
		}
	}
	cancel()
	<-done
	if last != nil {
		t.Errorf("%s: %s: %v\n%s", line, url, last, &out)
	}
}

// repo is the top of the source, from this package.
const repo = "../.."

// fence is a fenced block of a document.
type fence struct {
	kind  string // what stands behind the fence
	lines []string
}

func textOf(t *testing.T, doc string) string {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(repo, doc))
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// fencesOf takes the fenced blocks out of a document, and returns what is left.
func fencesOf(t *testing.T, doc string) (blocks []fence, rest string) {
	t.Helper()
	var b strings.Builder
	open := false
	for _, l := range strings.Split(textOf(t, doc), "\n") {
		kind, fenced := strings.CutPrefix(l, "```")
		switch {
		case fenced && !open:
			blocks, open = append(blocks, fence{kind: kind}), true
		case fenced:
			open = false
		case open:
			last := &blocks[len(blocks)-1]
			last.lines = append(last.lines, l)
		default:
			b.WriteString(l + "\n")
		}
	}
	if open {
		t.Fatalf("%s: a block is not closed", doc)
	}
	return blocks, b.String()
}

// programs that a block without a kind begins with, if it is of commands.
var programs = []string{"go", "charwarden", "sudo", "promtool", "prometheus"}

var comment = regexp.MustCompile(`\s+# .*$`)

// commandsOf are the commands of a document's blocks: lines that end with \ are
// joined, comments dropped.
func commandsOf(t *testing.T, doc string) (commands []string) {
	t.Helper()
	blocks, _ := fencesOf(t, doc)
	for _, f := range blocks {
		first, _, _ := strings.Cut(strings.Join(f.lines, "\n"), " ")
		if f.kind != "sh" && f.kind != "sh elsewhere" && (f.kind != "" || !slices.Contains(programs, first)) {
			continue
		}
		whole := ""
		for _, l := range f.lines {
			whole += comment.ReplaceAllString(strings.TrimSpace(l), "")
			if joined, more := strings.CutSuffix(whole, `\`); more {
				whole = joined
				continue
			}
			commands = append(commands, whole)
			whole = ""
		}
	}
	if len(commands) == 0 {
		t.Fatalf("%s: not one command", doc)
	}
	return commands
}

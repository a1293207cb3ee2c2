package main

import (
	"bufio"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"charwarden/cmd/internal/mqtt"
	"charwarden/cmd/internal/names"
)

// handset is a phone that a person logs in with; it hears all of the rig.
type handset struct {
	paho.Client
	mu    sync.Mutex
	heard map[string]string // the newest of each topic
}

func newHandset(t *testing.T, broker, user, password string) *handset {
	t.Helper()
	h := &handset{heard: make(map[string]string)}
	h.Client = paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + broker).SetClientID("phone of " + user).
		SetUsername(user).SetPassword(password))
	done := func(what string, tok paho.Token) {
		t.Helper()
		if !tok.WaitTimeout(5*time.Second) || tok.Error() != nil {
			t.Fatalf("phone: %s: %v", what, tok.Error())
		}
	}
	done("connect", h.Connect())
	t.Cleanup(func() { h.Disconnect(50) })
	done("subscribe", h.Subscribe("charwarden/pump/#", 1, func(_ paho.Client, m paho.Message) {
		h.mu.Lock()
		defer h.mu.Unlock()
		h.heard[strings.TrimPrefix(m.Topic(), "charwarden/pump/")] = string(m.Payload())
	}))
	return h
}

func (h *handset) newest(topic string) string {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.heard[topic]
}

func (h *handset) hears(topic, text string) func() bool {
	return func() bool { return strings.Contains(h.newest(topic), text) }
}

func (h *handset) forget() {
	h.mu.Lock()
	defer h.mu.Unlock()
	clear(h.heard)
}

// ask sends a command as somebody.
func (h *handset) ask(t *testing.T, person, verb, text string, retained bool) {
	t.Helper()
	if tok := h.Publish("charwarden/pump/do/"+person+"/"+verb, 1, retained, text); !tok.WaitTimeout(5*time.Second) || tok.Error() != nil {
		t.Fatalf("phone: %s: %v", verb, tok.Error())
	}
}

// lockedMosquitto is a broker where the daemon may do everything, and everybody
// else reads the rig and commands in his own name only. The file holds the
// daemon's password; anybody else's is "secret of" and the name.
func lockedMosquitto(t *testing.T) (broker, passwordFile string) {
	t.Helper()
	dir := t.TempDir()
	users, rules, passwordFile := filepath.Join(dir, "users"), filepath.Join(dir, "rules"), filepath.Join(dir, "password")
	for path, text := range map[string]string{
		users: "",
		rules: "pattern write charwarden/pump/do/%u/#\n\nuser charwarden\ntopic readwrite charwarden/pump/#\n\n" +
			"user kim\ntopic read charwarden/pump/#\n",
		passwordFile: "secret of charwarden\n",
	} {
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for _, u := range []string{"charwarden", "kim"} {
		if out, err := exec.Command("mosquitto_passwd", "-b", users, u, "secret of "+u).CombinedOutput(); err != nil {
			lacks(t, "mosquitto_passwd: apt-get install mosquitto: %v: %s", err, out)
		}
	}
	conf := []string{"allow_anonymous false", "password_file " + users, "acl_file " + rules}
	if os.Getuid() == 0 {
		conf = append(conf, "user root") // it would not read the test's files otherwise
	}
	return startMosquitto(t, conf...), passwordFile
}

// What is old, kept by the broker, malformed, unknown or somebody else's
// changes no alarm, and the log says who it was; what is right works.
func TestHostileCommands(t *testing.T) {
	broker, password := lockedMosquitto(t)
	dir, page := t.TempDir(), fmt.Sprintf("127.0.0.1:%d", freePort(t))
	kim := newHandset(t, broker, "kim", "secret of kim")

	before, in := startDaemon(t, "tcp://"+broker, page, dir, password)
	within(t, 10*time.Second, "birth", kim.hears("status", "watching since "))
	io.WriteString(in, "3.3\n")
	within(t, 5*time.Second, "evacuate", kim.hears("alarm/co_evacuate", `"state":"unacknowledged"`))
	before.Process.Signal(syscall.SIGKILL)
	within(t, 20*time.Second, "the will", kim.hears("status", "WATCH LOST"))
	kim.forget()
	kim.ask(t, "kim", "ack", "co_evacuate 1", true)

	daemon, in := startDaemon(t, "tcp://"+broker, page, dir, password)
	log := daemon.Stderr.(*safeLog)
	says := func(what string, parts ...string) {
		t.Helper()
		within(t, 5*time.Second, what+" in the log", func() bool {
			for line := range strings.Lines(log.String()) {
				all := strings.Contains(line, "command")
				for _, p := range parts {
					all = all && strings.Contains(line, p)
				}
				if all {
					return true
				}
			}
			return false
		})
	}
	io.WriteString(in, "3.3\n")
	within(t, 10*time.Second, "birth again", kim.hears("status", "watching since "))
	says("the retained one", "refused", "do/kim/ack", "retained")
	kim.ask(t, "kim", "ack", "", true) // forgets it
	says("the empty one", "refused", "person=kim", "verb=ack")

	// A second occurrence, so that the first is an old one.
	within(t, 10*time.Second, "the fault", kim.hears("alarm/co_fault", `"state":"unacknowledged"`))
	io.WriteString(in, "1.65\n")
	within(t, 10*time.Second, "its end", kim.hears("alarm/co_fault", `"state":"latched"`))
	kim.ask(t, "kim", "ack", "co_fault 1", false)
	within(t, 5*time.Second, "an acknowledgement", kim.hears("alarm/co_fault", `"state":"latched_acknowledged"`))
	says("it", "msg=command", "person=kim", "alarm=co_fault", "seq=1")
	if err := newVisit(filepath.Join(dir, "socket"), nil).post(t.Context(), "/reset", named{"co_fault"}, nil); err != nil {
		t.Fatal(err)
	}
	io.WriteString(in, "3.3\n")
	within(t, 10*time.Second, "the fault again", func() bool {
		return kim.hears("alarm/co_fault", `"state":"unacknowledged"`)() && kim.hears("alarm/co_fault", `"seq":2`)()
	})

	was := kim.newest("alarm/co_fault") + kim.newest("alarm/co_evacuate")
	for _, c := range []struct {
		what, verb, text string
		says             []string
	}{
		{"a stale one", "ack", "co_fault 1", []string{"person=kim", "verb=ack", "occurrence"}},
		{"an unknown verb", "reset", "co_fault", []string{"do/kim/reset", "verb"}},
		{"no verb", "ACK", "co_fault 2", []string{"do/kim/ACK", "topic"}},
		{"no number", "ack", "co_fault", []string{"person=kim", "verb=ack", "want NAME SEQ"}},
		{"a number in words", "ack", "co_fault two", []string{"person=kim", "verb=ack", "seq: want"}},
		{"no such alarm", "ack", "dragon 2", []string{"person=kim", "verb=ack", "dragon"}},
		{"what is no text", "ack", "co_fault \xff", []string{"do/kim/ack", "not UTF-8"}},
		{"two lines", "ack", "co_fault 2\nco_evacuate 1", []string{"do/kim/ack", "cannot be printed"}},
		{"too much", "ack", "co_fault 2" + strings.Repeat(" ", 300), []string{"do/kim/ack", "at most"}},
	} {
		kim.ask(t, "kim", c.verb, c.text, false)
		says(c.what, append(c.says, "refused")...)
	}
	kim.ask(t, "lee", "ack", "co_fault 2", false) // the broker takes it and keeps it to itself
	kim.ask(t, "kim", "note", "that was all", false)
	says("the note", "msg=command", "person=kim", "that was all")
	within(t, 5*time.Second, "kim's own note", kim.hears("do/kim/note", "that was all"))
	time.Sleep(500 * time.Millisecond) // as long as five ticks
	if strings.Contains(log.String(), "lee") || kim.newest("do/lee/ack") != "" {
		t.Error("kim spoke as lee")
	}
	if is := kim.newest("alarm/co_fault") + kim.newest("alarm/co_evacuate"); is != was {
		t.Errorf("the alarms are\n%s\nwere\n%s", is, was)
	}
	stranger := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + broker).SetClientID("stranger").SetUsername("kim").SetPassword("guess"))
	if tok := stranger.Connect(); !tok.WaitTimeout(5*time.Second) || tok.Error() == nil {
		t.Error("the broker lets in who guesses")
	}

	kim.ask(t, "kim", "ack", "co_fault 2", false)
	within(t, 5*time.Second, "the right one", kim.hears("alarm/co_fault", `"state":"acknowledged"`))
	says("it", "msg=command", "person=kim", "alarm=co_fault", "seq=2")
}

// gauges reads numbers without labels from the metrics page.
func gauges(t *testing.T, page string) map[string]float64 {
	t.Helper()
	resp, err := http.Get("http://" + page + "/metrics")
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	m := make(map[string]float64)
	for lines := bufio.NewScanner(resp.Body); lines.Scan(); {
		if name, number, ok := strings.Cut(lines.Text(), " "); ok {
			if v, err := strconv.ParseFloat(number, 64); err == nil {
				m[name] = v
			}
		}
	}
	return m
}

// A thousand commands a second for 5 s cost the loop no tick and no time.
func TestCommandFlood(t *testing.T) {
	broker := startMosquitto(t)
	page := fmt.Sprintf("127.0.0.1:%d", freePort(t))
	kim := newHandset(t, broker, "kim", "")
	daemon, _ := startDaemon(t, "tcp://"+broker, page, t.TempDir())
	log := daemon.Stderr.(*safeLog)
	within(t, 10*time.Second, "birth", kim.hears("status", "watching since "))
	within(t, 10*time.Second, "a first command", func() bool {
		kim.ask(t, "kim", "note", "ready", false)
		return strings.Contains(log.String(), "text=ready")
	})

	asks := [][2]string{{"ack", "co_evacuate 9"}, {"silence", ""}, {"ack", "gas_out_fault 1"}, {"note", "flood"}, {"reset", "co_evacuate"},
		{"ack", "co_evacuate"}, {"silence", "now"}, {"ack", "\xff"}, {"silence", ""}, {"ack", "co_fault 1"}}
	was, began := gauges(t, page), time.Now()
	tick := time.NewTicker(10 * time.Millisecond)
	defer tick.Stop()
	sent := 0
	for now := began; now.Sub(began) < 5*time.Second; now = <-tick.C {
		for due := int(now.Sub(began).Milliseconds()); sent < due; sent++ { // one a millisecond, late ones too
			c := asks[sent%len(asks)]
			kim.Publish("charwarden/pump/do/kim/"+c[0], 0, false, c[1])
		}
	}
	is, took := gauges(t, page), time.Since(began)
	if sent < 4900 || !strings.Contains(log.String(), errTooMany.Error()) {
		t.Errorf("%d commands sent; were they a flood?", sent)
	}
	if missed := is[names.TicksMissed]; missed != 0 {
		t.Errorf("%v ticks missed", missed)
	}
	if n, want := is[names.Ticks]-was[names.Ticks], took.Seconds()*10; n < want-2 || n > want+2 {
		t.Errorf("%v ticks in %v, want about %.0f", n, took, want)
	}
	// What was the longest before the flood is not of it.
	limit := 0.020
	if underRace { // and beside the tests of other packages
		limit = 0.100
	}
	if d, before := is[names.TickMaxSeconds], was[names.TickMaxSeconds]; d == 0 || d >= limit && d > before {
		t.Errorf("the longest tick took %v s, before the flood %v s; want below %v s", d, before, limit)
	}
	t.Logf("%d sent, %v ticks in %v, longest tick %v s (before: %v s)", sent,
		is[names.Ticks]-was[names.Ticks], took, is[names.TickMaxSeconds], was[names.TickMaxSeconds])
}

// A phone puts the horn off as the button does: 2 min, an evacuate 60 s, which
// asking again and again does not make longer.
func TestSilenceByPhone(t *testing.T) {
	for _, tc := range []struct {
		ppm  float64
		want time.Duration
	}{{150, 2 * time.Minute}, {250, time.Minute}} {
		synctest.Test(t, func(t *testing.T) {
			h := newHornRig(t, "")
			defer h.stop()
			log := &safeLog{}
			h.watch.log = slog.New(slog.NewTextHandler(log, nil))
			silence := mqtt.Command{Person: "kim", Verb: "silence"}
			h.co = 30
			h.atRest()
			h.pass(2 * time.Minute) // the chirp of its caution has passed
			h.command(silence)
			h.tick()
			if !strings.Contains(log.String(), `msg="command refused" person=kim verb=silence err="nothing sounds`) {
				t.Errorf("nothing sounds: %s", log)
			}
			h.co = tc.ppm
			if h.tick(); !h.sounds() {
				t.Fatalf("%v ppm: the horn is off", tc.ppm)
			}
			h.command(silence)
			h.tick()
			began := time.Now()
			if h.horn() || !strings.Contains(log.String(), "msg=command person=kim verb=silence\n") {
				t.Errorf("%v ppm: horn %v after the silence, log %s", tc.ppm, h.horn(), log)
			}
			for i := 1; !h.horn() && i < 3000; i++ {
				if i%100 == 0 && time.Since(began) < tc.want-time.Second {
					h.command(silence)
				}
				h.tick()
			}
			if quiet := time.Since(began); quiet < tc.want || quiet > tc.want+time.Second {
				t.Errorf("%v ppm: quiet for %v, want %v", tc.ppm, quiet, tc.want)
			}
		})
	}
}

// More than the loop takes in a tick is refused and said; nobody waits.
func TestCommandQueueFull(t *testing.T) {
	b := newBenchRig(t, nil)
	log := &safeLog{}
	b.watch.log = slog.New(slog.NewTextHandler(log, nil))
	for range perTick + 1 {
		b.command(mqtt.Command{Person: "kim", Verb: "silence"})
	}
	want := `msg="command refused" person=kim verb=silence err="too many at once`
	if got := log.String(); strings.Count(got, "\n") != 1 || !strings.Contains(got, want) {
		t.Errorf("said %q, want one line with %q", got, want)
	}
}

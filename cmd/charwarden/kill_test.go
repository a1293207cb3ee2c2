package main

import (
	"bufio"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"periph.io/x/conn/v3/gpio"

	"charwarden/sensors"
)

// pipeBoard tells the edges of the pulse outputs to whoever started the
// process: pins that outlive it, as a board's do.
type pipeBoard struct{ sensors.Board }

const watchPin, permitPin = "GPIO26", "GPIO12"

func (b pipeBoard) Pin(name string) (gpio.PinIO, error) {
	p, err := b.Board.Pin(name)
	if letter := map[string]string{watchPin: "w", permitPin: "p"}[name]; err == nil && letter != "" {
		p = &pipePin{p, os.NewFile(3, "edges"), letter}
	}
	return p, err
}

type pipePin struct {
	gpio.PinIO
	to     *os.File
	letter string
}

func (p *pipePin) Out(l gpio.Level) error {
	if p.to != nil {
		p.to.WriteString(p.letter)
	}
	return p.PinIO.Out(l)
}

// life is one process of the daemon, with everything that it has logged.
type life struct {
	cmd *exec.Cmd
	in  io.Writer
	end chan struct{} // its log has ended
	mu  sync.Mutex
	log []string
}

func live(t *testing.T, dir string, edges *os.File) *life {
	t.Helper()
	exe, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	l := &life{cmd: &exec.Cmd{Path: exe, Args: []string{"benchdaemon", "", "", dir}}}
	if edges != nil {
		l.cmd.ExtraFiles = []*os.File{edges}
	}
	if l.in, err = l.cmd.StdinPipe(); err != nil {
		t.Fatal(err)
	}
	out, err := l.cmd.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := l.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	l.end = make(chan struct{})
	go func() {
		defer close(l.end)
		for lines := bufio.NewScanner(out); lines.Scan(); {
			l.mu.Lock()
			l.log = append(l.log, lines.Text())
			l.mu.Unlock()
		}
	}()
	t.Cleanup(l.kill)
	return l
}

// kill ends it at once; everything that it logged has been read then.
func (l *life) kill() {
	l.cmd.Process.Signal(syscall.SIGKILL)
	<-l.end
	l.cmd.Wait()
}

// said reports whether a line with all the words was logged.
func (l *life) said(words ...string) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
line:
	for _, s := range l.log {
		for _, w := range words {
			if !strings.Contains(s, w) {
				continue line
			}
		}
		return true
	}
	return false
}

// raised are the alarms that were said to have come.
func (l *life) raised() (names []string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, s := range l.log {
		if strings.Contains(s, "to=unacknowledged") && strings.Contains(s, "restored=false") {
			_, name, _ := strings.Cut(s, " alarm=")
			name, _, _ = strings.Cut(name, " ")
			names = append(names, name)
		}
	}
	return names
}

// Killed at 200 random instants, around those at which alarms come, the daemon
// stands by every alarm that it has said, although the air is clean by then.
func TestKilledAlarmsStandAgain(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 9))
	kills, restored := 0, 0
	want := 200
	if underRace {
		want = 60
	}
	for kills < want {
		dir := t.TempDir()
		stood := make(map[string]bool)
		for range 8 {
			l := live(t, dir, nil)
			within(t, 10*time.Second, "the watch", func() bool { return l.said("msg=watching") })
			for name := range stood {
				within(t, 5*time.Second, name+" again", func() bool { return l.said("alarm="+name+" ", "restored=true") })
				restored++
			}
			if len(stood) == 0 || r.IntN(3) == 0 {
				fmt.Fprintln(l.in, []string{"3.3", "2.2", "1.7"}[r.IntN(3)])
			}
			time.Sleep(time.Duration(r.IntN(700)) * time.Millisecond)
			l.kill()
			kills++
			for _, name := range l.raised() {
				stood[name] = true
			}
		}
	}
	if restored < want {
		t.Errorf("only %d alarms had to be restored: the test proves little", restored)
	}
	t.Logf("%d kills, %d alarms restored", kills, restored)
}

// edgeCount counts the letters that come through a pipe.
type edgeCount struct {
	mu   sync.Mutex
	last map[byte]time.Time
	n    map[byte]int
}

func countEdges(t *testing.T) (*edgeCount, *os.File) {
	t.Helper()
	r, w, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	e := &edgeCount{last: make(map[byte]time.Time), n: make(map[byte]int)}
	go func() {
		for b := make([]byte, 64); ; {
			n, err := r.Read(b)
			if err != nil {
				return
			}
			e.mu.Lock()
			for _, c := range b[:n] {
				e.last[c] = time.Now()
				e.n[c]++
			}
			e.mu.Unlock()
		}
	}()
	t.Cleanup(func() { w.Close() })
	return e, w
}

func (e *edgeCount) seen(letter byte) (int, time.Time) {
	e.mu.Lock()
	defer e.mu.Unlock()
	return e.n[letter], e.last[letter]
}

// The pulses end with whoever gives them: within one tick of a kill, a stop and
// a hung loop, seen from outside the process. A tick is 100 ms; the pipe and
// this process's scheduling are given as much again.
func TestPulsesEndWithTheLoop(t *testing.T) {
	for name, end := range map[string]func(*life){
		"kill -9":   func(l *life) { l.cmd.Process.Signal(syscall.SIGKILL) },
		"SIGSTOP":   func(l *life) { l.cmd.Process.Signal(syscall.SIGSTOP) },
		"hung loop": func(l *life) { fmt.Fprintln(l.in, "hang") },
	} {
		t.Run(name, func(t *testing.T) {
			e, w := countEdges(t)
			l := live(t, t.TempDir(), w)
			both := func(n int) func() bool {
				return func() bool {
					watch, _ := e.seen('w')
					permit, _ := e.seen('p')
					return watch >= n && permit >= n
				}
			}
			within(t, 10*time.Second, "20 edges of each", both(20))
			end(l)
			ended := time.Now()
			time.Sleep(1500 * time.Millisecond)
			for _, letter := range []byte("wp") {
				if n, last := e.seen(letter); last.Sub(ended) > 200*time.Millisecond {
					t.Errorf("%c: edge %d came %v after the end", letter, n, last.Sub(ended))
				}
			}
		})
	}
}

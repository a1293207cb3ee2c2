package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"charwarden/alarms"
)

// live is what goes on around the daemon until its next mark. away brings the
// broker back after a while.
func (s *soak) live(away bool) (m soakMark, ok bool) {
	ctx, cancel := context.WithCancel(s.t.Context())
	var wg sync.WaitGroup
	wg.Go(func() {
		m, ok = <-s.marks
		cancel() // time stands still: nobody who has asked the loop is answered now
	})
	defer wg.Wait()
	began := time.Now()
	for n := 0; ctx.Err() == nil; n++ {
		wait(ctx, 50*time.Millisecond)
		if away && time.Since(began) > time.Second {
			s.broker.start()
			away = false
		}
		if err := scrape(s.page); err != nil {
			s.unread++
		}
		switch n % 4 {
		case 0:
			s.attend(ctx)
		case 1:
			s.hear(s.kim.get(ctx, "/live", new(liveRow)))
		case 2:
			s.hear(s.kim.get(ctx, "/why", new([]causeRow)))
		}
	}
	s.broker.start()
	return m, ok
}

// hear counts an answer.
func (s *soak) hear(err error) bool {
	switch {
	case err == nil:
		s.asked++
	case errors.Is(err, context.Canceled):
		s.broken++
	case strings.Contains(err.Error(), errNoAnswer.Error()):
		s.late++
	default:
		s.did["refused"]++
	}
	return err == nil
}

// attend acknowledges what stands, resets what is kept, and says what was done.
func (s *soak) attend(ctx context.Context) {
	var rows []levelRow
	if !s.hear(s.kim.get(ctx, "/alarms", &rows)) {
		return
	}
	do := func(verb string, o order) {
		if s.hear(s.kim.post(ctx, pathOf(verb), o, nil)) {
			s.did[verb]++
		}
	}
	for _, r := range rows {
		switch r.State {
		case alarms.Unacknowledged.String(), alarms.Returned.String(), alarms.Latched.String():
			do("ack", ackOrder{r.Name, r.Seq})
		case alarms.LatchedAcknowledged.String():
			do("reset", named{r.Name})
		}
	}
	switch s.asked % 50 {
	case 0:
		do("note", noteOrder{"wind from the west"})
	case 10:
		do("weighed", massOrder{5})
	case 20:
		do("reset permit", bare{})
	case 30:
		do("cleaned", bare{})
	case 40:
		do("shelve", shelfOrder{"filter_drop_caution", 60})
	}
}

// soakBroker is Debian's broker on one port, which can be away for a while.
type soakBroker struct {
	t    *testing.T
	addr string
	file string
	cmd  *exec.Cmd
}

func newSoakBroker(t *testing.T) *soakBroker {
	port := freePort(t)
	b := &soakBroker{t: t, addr: fmt.Sprintf("127.0.0.1:%d", port), file: filepath.Join(t.TempDir(), "mosquitto.conf")}
	if _, err := os.Stat(mosquittoPath); err != nil {
		lacks(t, "apt-get install mosquitto: %v", err)
	}
	conf := fmt.Sprintf("listener %d 127.0.0.1\npersistence false\nallow_anonymous true\n", port)
	if err := os.WriteFile(b.file, []byte(conf), 0o644); err != nil {
		t.Fatal(err)
	}
	b.start()
	t.Cleanup(b.stop)
	within(t, 5*time.Second, "mosquitto listens", func() bool {
		c, err := net.Dial("tcp", b.addr)
		if err == nil {
			c.Close()
		}
		return err == nil
	})
	return b
}

const mosquittoPath = "/usr/sbin/mosquitto"

func (b *soakBroker) start() {
	if b.cmd != nil {
		return
	}
	b.cmd = exec.Command(mosquittoPath, "-c", b.file)
	if err := b.cmd.Start(); err != nil {
		b.t.Fatal(err)
	}
}

func (b *soakBroker) stop() {
	if b.cmd != nil {
		b.cmd.Process.Kill()
		b.cmd.Wait()
		b.cmd = nil
	}
}

package mqtt

import (
	"io"
	"log/slog"
	"testing"
	"time"

	server "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/listeners"
	"github.com/mochi-mqtt/server/v2/packets"
)

// allowAll lets everybody do everything on the broker inside the test.
type allowAll struct{ server.HookBase }

func (*allowAll) ID() string { return "allow-all" }
func (*allowAll) Provides(b byte) bool {
	return b == server.OnConnectAuthenticate || b == server.OnACLCheck
}
func (*allowAll) OnConnectAuthenticate(*server.Client, packets.Packet) bool { return true }
func (*allowAll) OnACLCheck(*server.Client, string, bool) bool              { return true }

// serve starts a broker that remembers nothing; close ends it.
func serve(t *testing.T, address string) (url string, close func()) {
	t.Helper()
	s := server.New(&server.Options{Logger: slog.New(slog.NewTextHandler(io.Discard, nil))})
	if err := s.AddHook(new(allowAll), nil); err != nil {
		t.Fatal(err)
	}
	l := listeners.NewTCP(listeners.Config{ID: "tcp", Address: address})
	var err error
	for range 100 { // the port of a broker that has just gone
		if err = s.AddListener(l); err == nil {
			break
		}
		time.Sleep(10 * time.Millisecond)
	}
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Serve(); err != nil {
		t.Fatal(err)
	}
	done := false
	close = func() {
		if !done {
			done = true
			s.Close()
		}
	}
	t.Cleanup(close)
	return "mqtt://" + l.Address(), close
}

func TestScenes(t *testing.T) {
	for name, scene := range map[string]func(*testing.T, string){
		"birth": sceneBirth, "edges": sceneEdges, "will": sceneWill, "commands": sceneCommands, "storm": sceneStorm,
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			url, _ := serve(t, "127.0.0.1:0")
			scene(t, url)
		})
	}
	t.Run("restart", func(t *testing.T) {
		t.Parallel()
		url, kill := serve(t, "127.0.0.1:0")
		sceneRestart(t, url, kill, func() { serve(t, url[len("mqtt://"):]) })
	})
}

// A daemon whose loop never ticked has not watched anything and does not say
// so.
func TestSilentBeforeTheFirstUpdate(t *testing.T) {
	t.Parallel()
	url, _ := serve(t, "127.0.0.1:0")
	p := pumpPublisher(t, pumpOpts(t, url))
	stop := running(t, p)
	eventually(t, 3*time.Second, "connected", func() bool { return p.Stats().Connected })
	e := listen(t, url, "phone", nil)
	time.Sleep(300 * time.Millisecond)
	e.mu.Lock()
	if len(e.heard) != 0 {
		t.Errorf("heard %v", e.heard)
	}
	e.mu.Unlock()
	stop()
}

package mqtt

import (
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
)

// mosquitto is the broker as Debian ships it.
const mosquitto = "/usr/sbin/mosquitto"

func needMosquitto(t *testing.T) {
	t.Helper()
	if _, err := os.Stat(mosquitto); err == nil {
		return
	}
	const hint = "no " + mosquitto + ": apt-get install mosquitto"
	if os.Getenv("CI") == "true" {
		t.Fatal(hint)
	}
	t.Skip(hint)
}

// real runs mosquitto with the given lines of configuration on port, and
// returns what kills it.
func real(t *testing.T, dir string, port int, conf ...string) (kill func()) {
	t.Helper()
	lines := append([]string{fmt.Sprintf("listener %d 127.0.0.1", port), "persistence false"}, conf...)
	return broker(t, dir, port, strings.Join(lines, "\n")+"\n")
}

// broker runs mosquitto with this configuration, which listens on port.
func broker(t *testing.T, dir string, port int, conf string) (kill func()) {
	t.Helper()
	file := filepath.Join(dir, "mosquitto.conf")
	if os.Getuid() == 0 {
		conf = "user root\n" + conf // it would not read the test's files otherwise
	}
	if err := os.WriteFile(file, []byte(conf), 0o600); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(mosquitto, "-c", file)
	log := &strings.Builder{}
	cmd.Stdout, cmd.Stderr = log, log
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	dead := false
	kill = func() {
		if !dead {
			dead = true
			cmd.Process.Kill()
			cmd.Wait()
			if t.Failed() {
				t.Logf("mosquitto:\n%s", log)
			}
		}
	}
	t.Cleanup(kill)
	eventually(t, 5*time.Second, "mosquitto listens", func() bool {
		c, err := net.Dial("tcp", fmt.Sprintf("127.0.0.1:%d", port))
		if err == nil {
			c.Close()
		}
		return err == nil
	})
	return kill
}

var ports atomic.Int64

// freePort finds a port below those that the kernel gives to everybody else
// (from 32768 on), so that nobody takes it before mosquitto does.
func freePort(t *testing.T) int {
	t.Helper()
	for range 1000 {
		port := 20000 + (os.Getpid()*16+int(ports.Add(1)))%10000
		if l, err := net.Listen("tcp", fmt.Sprintf("127.0.0.1:%d", port)); err == nil {
			l.Close()
			return port
		}
	}
	t.Fatal("no free port")
	return 0
}

func TestRealBroker(t *testing.T) {
	needMosquitto(t)
	for name, scene := range map[string]func(*testing.T, string){
		"birth": sceneBirth, "edges": sceneEdges, "will": sceneWill, "commands": sceneCommands, "storm": sceneStorm,
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			port := freePort(t)
			real(t, t.TempDir(), port, "allow_anonymous true")
			scene(t, fmt.Sprintf("mqtt://127.0.0.1:%d", port))
		})
	}
	t.Run("restart", func(t *testing.T) {
		t.Parallel()
		port, dir := freePort(t), t.TempDir()
		kill := real(t, dir, port, "allow_anonymous true")
		sceneRestart(t, fmt.Sprintf("mqtt://127.0.0.1:%d", port), kill,
			func() { real(t, dir, port, "allow_anonymous true") })
	})
}

// A command for a daemon that is away does not wait for it: a silence of
// yesterday must not silence the horn today.
func TestRealBrokerKeepsNoCommands(t *testing.T) {
	needMosquitto(t)
	t.Parallel()
	port := freePort(t)
	real(t, t.TempDir(), port, "allow_anonymous true")
	url := fmt.Sprintf("mqtt://127.0.0.1:%d", port)
	commands := make(chan Command, 100)
	o := pumpOpts(t, url)
	o.OnCommand = func(c Command) { commands <- c }
	e := listen(t, url, "phone", nil)
	come := func() (leave func()) {
		p := pumpPublisher(t, o)
		drive(t, p)
		leave = running(t, p)
		eventually(t, 3*time.Second, "a live command", func() bool {
			e.say(t, "charwarden/pump/do/kim/note", "live", false)
			return len(commands) > 0
		})
		return leave
	}
	come()()
	for len(commands) > 0 {
		<-commands
	}
	e.say(t, "charwarden/pump/do/kim/silence", "", false)
	come()
	for len(commands) > 0 {
		if c := <-commands; c.Verb != "note" {
			t.Errorf("an old command came through: %+v", c)
		}
	}
}

// TLS with our own authority, a login, and access rules: the daemon and a
// phone each with their own. The certificates are valid only from tomorrow on,
// as they seem to a board whose clock starts in the past.
func TestRealBrokerSecured(t *testing.T) {
	needMosquitto(t)
	passwd, err := exec.LookPath("mosquitto_passwd")
	if err != nil {
		t.Fatal("no mosquitto_passwd beside mosquitto: ", err)
	}
	t.Parallel()
	dir, port := t.TempDir(), freePort(t)
	tomorrow := time.Now().Add(24 * time.Hour)
	certs := newPKI(t, dir, tomorrow, tomorrow.Add(24*time.Hour))
	users, rules := filepath.Join(dir, "users"), filepath.Join(dir, "rules")
	for i, u := range []string{"charwarden", "kim"} {
		args := []string{"-b", users, u, "secret of " + u}
		if i == 0 {
			args = append([]string{"-c"}, args...)
		}
		if out, err := exec.Command(passwd, args...).CombinedOutput(); err != nil {
			t.Fatalf("mosquitto_passwd: %v: %s", err, out)
		}
	}
	acl := "user charwarden\ntopic readwrite charwarden/pump/#\n\nuser kim\ntopic read charwarden/pump/#\ntopic write charwarden/pump/do/kim/+\n"
	if err := os.WriteFile(rules, []byte(acl), 0o600); err != nil {
		t.Fatal(err)
	}
	real(t, dir, port, "allow_anonymous false", "password_file "+users, "acl_file "+rules,
		"certfile "+certs.cert, "keyfile "+certs.key)
	conf, err := TLSConfig(certs.ca, "", "", tomorrow.Add(time.Hour))
	if err != nil {
		t.Fatal(err)
	}

	commands := make(chan Command, 100)
	o := pumpOpts(t, fmt.Sprintf("mqtts://127.0.0.1:%d", port))
	o.TLS, o.User, o.Password = conf, "charwarden", "secret of charwarden"
	o.OnCommand = func(c Command) { commands <- c }

	wrong := o
	wrong.ClientID, wrong.Password = "charwarden-wrong", "guess"
	early := o
	early.ClientID = "charwarden-early"
	if early.TLS, err = TLSConfig(certs.ca, "", "", time.Time{}); err != nil {
		t.Fatal(err)
	}
	refused := []*Publisher{pumpPublisher(t, wrong), pumpPublisher(t, early)}
	for _, p := range refused {
		running(t, p)
	}

	p := pumpPublisher(t, o)
	drive(t, p)
	running(t, p)
	eventually(t, 3*time.Second, "connected", func() bool { return p.Stats().Connected })
	e := listen(t, fmt.Sprintf("ssl://127.0.0.1:%d", port), "phone", func(po *paho.ClientOptions) {
		po.SetTLSConfig(conf).SetUsername("kim").SetPassword("secret of kim")
	})
	seesAll(t, e, 2*time.Second)
	eventually(t, 3*time.Second, "kim's command", func() bool {
		e.say(t, "charwarden/pump/do/lee/silence", "", false) // as somebody else
		e.say(t, "charwarden/pump/do/kim/silence", "", false)
		return len(commands) > 2
	})
	for len(commands) > 0 {
		if c := <-commands; c.Person != "kim" {
			t.Errorf("kim spoke as %s", c.Person)
		}
	}
	for _, p := range refused {
		if s := p.Stats(); s.Connects != 0 {
			t.Errorf("connected with the wrong password, or with certificates that are not valid yet: %+v", s)
		}
	}
}

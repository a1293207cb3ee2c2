package mqtt

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
)

// rigBroker runs mosquitto as deploy/mosquitto has it, with only its addresses,
// ports and files changed. The access point's address becomes 127.0.0.2.
func rigBroker(t *testing.T, people ...string) (daemon, phone string) {
	t.Helper()
	return changedRigBroker(t, func(conf string) string { return conf }, people...)
}

func changedRigBroker(t *testing.T, change func(conf string) string, people ...string) (daemon, phone string) {
	t.Helper()
	needMosquitto(t)
	const deploy = "../../../deploy/mosquitto"
	conf, err := os.ReadFile(filepath.Join(deploy, "rig.conf"))
	if err != nil {
		t.Fatal(err)
	}
	rules, err := filepath.Abs(filepath.Join(deploy, "rig.acl"))
	if err != nil {
		t.Fatal(err)
	}
	dir, port := t.TempDir(), freePort(t)
	users := filepath.Join(dir, "users")
	text := change(string(conf))
	for _, c := range [][2]string{
		{"\nlistener 1883 127.0.0.1\n", fmt.Sprintf("\nlistener %d 127.0.0.1\n", port)},
		{"\nlistener 1883 10.42.0.1\n", fmt.Sprintf("\nlistener %d 127.0.0.2\n", port)},
		{"\npassword_file /etc/mosquitto/rig.passwd\n", "\npassword_file " + users + "\n"},
		{"\nacl_file /etc/mosquitto/rig.acl\n", "\nacl_file " + rules + "\n"},
	} {
		if strings.Count(text, c[0]) != 1 {
			t.Fatalf("rig.conf: want %q in it once", c[0])
		}
		text = strings.Replace(text, c[0], c[1], 1)
	}
	// As rig.conf tells a person to do it: plain text, made unreadable in place.
	var plain strings.Builder
	for _, p := range people {
		fmt.Fprintf(&plain, "%s:secret of %s\n", p, p)
	}
	if err := os.WriteFile(users, []byte(plain.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command("mosquitto_passwd", "-U", users).CombinedOutput(); err != nil {
		t.Fatalf("mosquitto_passwd: %v: %s", err, out)
	}
	if b, err := os.ReadFile(users); err != nil || strings.Contains(string(b), "secret") {
		t.Fatalf("passwords are still to be read: %s (%v)", b, err)
	}
	broker(t, dir, port, text)
	return fmt.Sprintf("mqtt://127.0.0.1:%d", port), fmt.Sprintf("mqtt://127.0.0.2:%d", port)
}

func as(person string) func(*paho.ClientOptions) {
	return func(o *paho.ClientOptions) { o.SetUsername(person).SetPassword("secret of " + person) }
}

// The daemon can do all that it needs, by the rules that the package brings.
func TestRigBrokerDaemon(t *testing.T) {
	t.Parallel()
	daemon, phone := rigBroker(t, "charwarden", "kim")
	w := lay(t, strings.TrimPrefix(daemon, "mqtt://"))
	commands := make(chan Command, 100)
	o := pumpOpts(t, w.url)
	o.User, o.Password = "charwarden", "secret of charwarden"
	o.OnCommand = func(c Command) { commands <- c }
	p := pumpPublisher(t, o)
	drive(t, p)
	stop := running(t, p)
	eventually(t, 5*time.Second, "connected", func() bool { return p.Stats().Connected })

	e := listen(t, phone, "phone", as("kim"))
	seesAll(t, e, 3*time.Second)
	eventually(t, 5*time.Second, "heartbeat", func() bool { return e.has("heartbeat", func(heard) bool { return true }) })
	eventually(t, 3*time.Second, "kim's command", func() bool {
		e.say(t, "charwarden/pump/do/kim/silence", "", false)
		return len(commands) > 0
	})

	e.forget()
	w.down.Store(true)
	w.sever()
	eventually(t, 3*time.Second, "will", func() bool { return e.has("status", equals(willLine)) })
	late := listen(t, phone, "late", as("kim"))
	eventually(t, 3*time.Second, "retained will", func() bool {
		return late.has("status", func(h heard) bool { return h.retained && h.payload == willLine })
	})
	w.down.Store(false)
	seesAll(t, e, 5*time.Second)
	stop()
	eventually(t, 3*time.Second, "last words", func() bool { return e.has("status", contains("WATCH LOST: stopped")) })
}

// What a person sends under another name, or in the daemon's place, reaches
// nobody. The broker takes it without a word, so that only what arrives counts.
func TestRigBrokerPerson(t *testing.T) {
	t.Parallel()
	daemon, phone := rigBroker(t, "charwarden", "kim", "lee")
	desk := listen(t, daemon, "desk", as("charwarden")) // hears what the daemon would
	lee := listen(t, phone, "lee", as("lee"))
	kim := listen(t, phone, "kim", as("kim"))
	for _, topic := range []string{
		"do/lee/ack", "do/lee/silence", "do/charwarden/silence", "do/silence", "do/KIM/ack",
		"status", "heartbeat", "reading/co", "alarm/co_alarm", "summary", "diagnosis", "notify", "events",
	} {
		kim.say(t, "charwarden/pump/"+topic, "forged", false)
		kim.say(t, "charwarden/pump/"+topic, "forged", true)
	}
	kim.say(t, "charwarden/pump/do/kim/note", "genuine", false)
	genuine := func(h heard) bool { return h.payload == "genuine" }
	eventually(t, 3*time.Second, "what kim may say", func() bool { return desk.has("do/kim/note", genuine) && lee.has("do/kim/note", genuine) })
	// Kim's messages come in order: the forged ones would be here by now.
	late := listen(t, phone, "late", as("lee"))
	time.Sleep(300 * time.Millisecond)
	for name, e := range map[string]*ear{"the daemon": desk, "lee": lee, "who comes late": late} {
		e.mu.Lock()
		for _, h := range e.heard {
			if h.payload == "forged" {
				t.Errorf("%s heard a forged %s", name, h.topic)
			}
		}
		e.mu.Unlock()
	}
}

// Nobody without a name and its password, on either address.
func TestRigBrokerRefuses(t *testing.T) {
	t.Parallel()
	daemon, phone := rigBroker(t, "charwarden", "kim")
	for _, url := range []string{daemon, phone} {
		for name, change := range map[string]func(*paho.ClientOptions){
			"without a name":      func(*paho.ClientOptions) {},
			"with a wrong word":   func(o *paho.ClientOptions) { o.SetUsername("kim").SetPassword("guess") },
			"without a word":      func(o *paho.ClientOptions) { o.SetUsername("kim") },
			"as nobody known":     func(o *paho.ClientOptions) { o.SetUsername("lee").SetPassword("secret of lee") },
			"as the daemon, bare": func(o *paho.ClientOptions) { o.SetUsername("charwarden").SetPassword("") },
		} {
			o := paho.NewClientOptions().AddBroker(url).SetClientID("stranger").SetAutoReconnect(false).SetConnectTimeout(2 * time.Second)
			change(o)
			c := paho.NewClient(o)
			token := c.Connect()
			if !token.WaitTimeout(3*time.Second) || token.Error() == nil {
				t.Errorf("%s: %s: let in", url, name)
				c.Disconnect(0)
			}
		}
		listen(t, url, "kim", as("kim")) // it is not that nobody gets in
	}
}

// The listener that stands there to be taken instead: phones by TLS only.
func TestRigBrokerTLS(t *testing.T) {
	t.Parallel()
	certs := newPKI(t, t.TempDir(), time.Now().Add(-time.Hour), time.Now().Add(time.Hour))
	port := freePort(t)
	const off = "#listener 8883 10.42.0.1\n#certfile /etc/mosquitto/certs/rig.pem\n#keyfile /etc/mosquitto/certs/rig.key\n"
	daemon, _ := changedRigBroker(t, func(conf string) string {
		if strings.Count(conf, off) != 1 {
			t.Fatalf("rig.conf: want %q in it once", off)
		}
		return strings.Replace(conf, off, fmt.Sprintf("listener %d 127.0.0.1\ncertfile %s\nkeyfile %s\n", port, certs.cert, certs.key), 1)
	}, "charwarden", "kim")
	conf, err := TLSConfig(certs.ca, "", "", time.Time{})
	if err != nil {
		t.Fatal(err)
	}
	secure := fmt.Sprintf("ssl://127.0.0.1:%d", port)
	kim := listen(t, secure, "kim", func(o *paho.ClientOptions) { as("kim")(o); o.SetTLSConfig(conf) })
	desk := listen(t, daemon, "desk", as("charwarden"))
	desk.say(t, "charwarden/pump/notify", "hello", false)
	eventually(t, 3*time.Second, "heard by TLS", func() bool { return kim.has("notify", equals("hello")) })
	o := paho.NewClientOptions().AddBroker(secure).SetClientID("stranger").SetAutoReconnect(false).SetConnectTimeout(2 * time.Second).SetTLSConfig(conf)
	if token := paho.NewClient(o).Connect(); !token.WaitTimeout(3*time.Second) || token.Error() == nil {
		t.Error("by TLS without a name: let in")
	}
}

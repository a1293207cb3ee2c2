package main

import (
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"charwarden/config"
)

func deployFile(t *testing.T, file string) string {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("../../deploy", file))
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// The unit's times and exit codes are those of the program.
func TestUnit(t *testing.T) {
	unit := deployFile(t, "systemd/charwarden.service")
	setting := func(key string) string {
		t.Helper()
		m := regexp.MustCompile(`(?m)^`+key+`=(.*)$`).FindAllStringSubmatch(unit, -1)
		if len(m) != 1 {
			t.Fatalf("unit: %s stands in it %d times, want once", key, len(m))
		}
		return m[0][1]
	}
	seconds := func(key string) time.Duration {
		t.Helper()
		n, err := strconv.Atoi(setting(key))
		if err != nil {
			t.Fatalf("unit: %s: %v", key, err)
		}
		return time.Duration(n) * time.Second
	}
	if got, want := setting("RestartPreventExitStatus"), strconv.Itoa(exitConfig); got != want {
		t.Errorf("RestartPreventExitStatus %s, want %s: a wrong configuration", got, want)
	}
	if d := seconds("WatchdogSec"); d < 4*feedEvery {
		t.Errorf("WatchdogSec %v: a feed that comes late would kill a daemon that is fed every %v", d, feedEvery)
	}
	if d := seconds("TimeoutStopSec"); d < stopLimit+time.Second {
		t.Errorf("TimeoutStopSec %v: the daemon itself may take %v to stop", d, stopLimit)
	}
	if d := seconds("TimeoutStartSec"); d < dieWithin+readyWithin+5*time.Second {
		t.Errorf("TimeoutStartSec %v: the start may take %v", d, dieWithin+readyWithin)
	}

	c, err := config.Parse("rig.toml", config.Reference())
	if err != nil {
		t.Fatal(err)
	}
	if want := "/var/lib/" + setting("StateDirectory"); c.State != want || c.RunLog.Dir != want+"/runs" {
		t.Errorf("state in %s and runs in %s: the unit lets it write in %s", c.State, c.RunLog.Dir, want)
	}
	if want := "/run/" + setting("RuntimeDirectory") + "/charwarden.sock"; c.Socket != want {
		t.Errorf("socket %s, want %s", c.Socket, want)
	}
	for _, device := range []string{"char-spi", "char-i2c", "char-gpiochip"} {
		if !strings.Contains(unit, "\nDeviceAllow="+device+" rw\n") {
			t.Errorf("unit: the daemon may not use %s", device)
		}
	}
	if strings.Contains(unit, "ProtectClock=yes") {
		t.Error("unit: ProtectClock= would keep the daemon from asking how right the clock is")
	}
}

func TestLockupKnowsTheExitCode(t *testing.T) {
	script, want := deployFile(t, "systemd/lockup"), `[ "${EXIT_STATUS:-}" = `+strconv.Itoa(exitUndead)+" ]"
	if !strings.Contains(script, want) {
		t.Errorf("lockup: want %s in it", want)
	}
}

// What the reference proposes for the broker is what the broker's own file sets up.
func TestReferenceFitsTheBroker(t *testing.T) {
	ref, broker, rules := string(config.Reference()), deployFile(t, "mosquitto/rig.conf"), deployFile(t, "mosquitto/rig.acl")
	for _, line := range []string{`# user = "charwarden"`, `# password_file = "/etc/charwarden/mqtt.password"`} {
		if !strings.Contains(ref, "\n"+line+"\n") {
			t.Errorf("reference: want the line %s", line)
		}
	}
	with := strings.NewReplacer(`# user = `, `user = `, `# password_file = `, `password_file = `).Replace(ref)
	c, err := config.Parse("rig.toml", []byte(with))
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(broker, "/dev/stdin "+c.MQTT.PasswordFile+"\n") {
		t.Errorf("rig.conf makes no %s", c.MQTT.PasswordFile)
	}
	if !strings.Contains(rules, "\nuser "+c.MQTT.User+"\ntopic write "+c.MQTT.Prefix+"/#\n") {
		t.Errorf("rig.acl: no rule for %s below %s", c.MQTT.User, c.MQTT.Prefix)
	}
}

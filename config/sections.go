package config

import (
	"fmt"
	"net"
	"net/url"
	"path"
	"strconv"
	"strings"
	"time"

	"charwarden/sensors/ads1115"
)

// sections reads the tables that are no sensors.
func (f *file) sections(c *Config) {
	t := f.table("rig")
	t.require("name")
	c.Rig.Name = t.identifier("name", "-")
	c.Tick = t.span("tick", 100*time.Millisecond, 50*time.Millisecond, time.Second)
	c.State = t.absolute("state", "/var/lib/charwarden")
	c.Socket = t.absolute("socket", "/run/charwarden/charwarden.sock")
	t.done()

	t = f.table("runlog")
	l := &c.RunLog
	l.Dir = t.absolute("dir", c.State+"/runs")
	l.Age = time.Duration(t.whole("keep_days", 400, 1, 10000)) * 24 * time.Hour
	l.Bytes = int64(t.whole("keep_mb", 4000, 50, 1_000_000)) * 1e6
	l.Runs = t.whole("keep_runs", 20, 1, 10000)
	t.done()

	c.MQTT = f.mqtt(c.Rig.Name)

	t = f.table("metrics")
	c.Metrics.Listen = t.hostPort("listen", "127.0.0.1:9455")
	t.done()

	t = f.table("display")
	c.Display.Temperature = t.word("temperature", temperatureWords...)
	c.Display.Pressure = t.word("pressure", pressureWords...)
	c.Display.Mass = t.word("mass", massWords...)
	t.done()

	t = f.table("outputs")
	o := &c.Outputs
	for _, out := range []struct {
		key string
		pin *string
	}{
		{"horn", &o.Horn}, {"lamp_red", &o.LampRed}, {"lamp_yellow", &o.LampYellow}, {"lamp_green", &o.LampGreen},
		{"watch_pulse", &o.WatchPulse}, {"run_permit", &o.RunPermit}, {"reset_button", &o.ResetButton},
	} {
		*out.pin = t.pin(out.key)
	}
	t.done()
	if (o.WatchPulse != "" || o.RunPermit != "") && c.Tick > maxPulse {
		f.table("rig").fail("tick", "%s: too slow for watch_pulse and run_permit, whose detectors give up after 500 ms without an edge (allowed: up to %s)", human(c.Tick), human(maxPulse))
	}
}

// maxPulse is the longest tick for which the missing-pulse detector of
// deploy/wiring.md is reckoned: there is one edge a tick, and several must be
// lost before it gives up.
const maxPulse = 100 * time.Millisecond

func (f *file) mqtt(rig string) MQTT {
	t := f.table("mqtt")
	defer t.done()
	m := MQTT{
		Broker:       t.text("broker", ""),
		ClientID:     t.text("client_id", "charwarden-"+rig),
		User:         t.text("user", ""),
		PasswordFile: t.absolute("password_file", ""),
		CAFile:       t.absolute("ca_file", ""),
		CertFile:     t.absolute("cert_file", ""),
		KeyFile:      t.absolute("key_file", ""),
		Refresh:      t.span("refresh", time.Minute, 5*time.Second, time.Hour),
		Prefix:       t.identifier("prefix", "-"),
	}
	if m.Prefix == "" {
		m.Prefix = "charwarden"
	}
	if n := len(m.ClientID); n == 0 || n > 64 {
		t.fail("client_id", "%q: 1 to 64 letters are wanted", m.ClientID)
	}
	for _, pair := range [][2]string{{"password_file", "user"}, {"cert_file", "key_file"}, {"key_file", "cert_file"}} {
		if t.has(pair[0]) && !t.has(pair[1]) {
			t.fail(pair[0], "needs %s beside it", pair[1])
		}
	}
	if m.Broker == "" {
		return m
	}
	const form = `(allowed: "tcp://127.0.0.1:1883", "ssl://host:8883", "" for off)`
	if strings.Contains(m.Broker, "@") { // not shown: it may hold a password
		t.fail("broker", "the login does not belong into the address: write it to user and password_file %s", form)
		return m
	}
	u, err := url.Parse(m.Broker)
	switch {
	case err != nil || u.Scheme != "tcp" && u.Scheme != "ssl" || u.Host == "" || strings.TrimSuffix(u.Path, "/")+u.RawQuery+u.Fragment != "":
		t.fail("broker", "%q: no address of a broker %s", m.Broker, form)
	case !goodPort(u.Port()) || u.Hostname() == "":
		t.fail("broker", "%q: host and port are wanted %s", m.Broker, form)
	case u.Scheme == "tcp" && (m.CAFile != "" || m.CertFile != ""):
		t.fail("broker", "%q: not encrypted, so ca_file and cert_file would do nothing: write ssl://", m.Broker)
	case u.Scheme == "tcp" && !loopback(u.Hostname()):
		t.warn("broker", "%q: alarms and password cross the network unencrypted; ssl:// protects them", m.Broker)
	}
	return m
}

// hostPort returns an address to listen on, "" for off, or def.
func (t *table) hostPort(key, def string) string {
	s := t.text(key, def)
	if s == "" {
		return s
	}
	host, port, err := net.SplitHostPort(s)
	if err != nil || !goodPort(port) {
		t.fail(key, "%q: no address to listen on (allowed: \"127.0.0.1:9455\", \"\" for off)", s)
		return def
	}
	if !loopback(host) {
		t.warn(key, "%q: anyone on the network can read this", s)
	}
	return s
}

func goodPort(s string) bool {
	n, err := strconv.ParseUint(s, 10, 16)
	return err == nil && n > 0
}

func loopback(host string) bool {
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

// absolute returns a path that does not depend on where the daemon starts.
func (t *table) absolute(key, def string) string {
	s := t.text(key, def)
	if t.has(key) && s != "" && !path.IsAbs(s) {
		t.fail(key, "%q: the whole path is wanted, from / on", s)
		return def
	}
	return s
}

// converters reads [[adc]]; sensors refer to them by name.
func (f *file) converters(c *Config) {
	for _, t := range f.tables("adc") {
		t.require("name", "bus", "address")
		a := ADC{Name: t.identifier("name", "_")}
		a.Bus, a.Address = t.i2c(0x48, 0x4b)
		a.VDD, _ = t.volts("vdd", 3.3, 2, 5.5) // ADS1115: 2.0 to 5.5 V
		t.done()
		if a.Name != "" && t.claim("name", "adc", a.Name) {
			f.adcs[a.Name] = a
		}
		c.ADCs = append(c.ADCs, a)
	}
}

// i2c returns bus and address of a chip that answers on lo to hi, and claims
// both.
func (t *table) i2c(lo, hi int) (bus string, address uint16) {
	bus = t.text("bus", "")
	if bus != "" && !busName.MatchString(bus) {
		t.fail("bus", "%q: no I2C bus (allowed: \"/dev/i2c-1\" and the like)", bus)
		bus = ""
	}
	v, ok := t.value("address")
	n, whole := v.(int64)
	switch {
	case !ok:
		return bus, 0
	case !whole || n < int64(lo) || n > int64(hi):
		shown, meant := written(v), ""
		if whole {
			shown = "0x" + strconv.FormatInt(n, 16)
			if m, err := strconv.ParseInt(written(v), 16, 32); err == nil && m >= int64(lo) && m <= int64(hi) {
				meant = fmt.Sprintf(", did you mean 0x%x?", m) // 40 written for 0x40
			}
		}
		t.fail("address", "%s: this chip cannot have it%s (allowed: 0x%x to 0x%x)", shown, meant, lo, hi)
		return bus, 0
	}
	if bus != "" {
		t.claim("address", "address on "+bus, "0x"+strconv.FormatInt(n, 16))
	}
	return bus, uint16(n)
}

// wire names an I2C bus as the cause of faults; "" is unknown.
func wire(bus string) string {
	if bus == "" {
		return ""
	}
	return "the I2C bus " + bus
}

// analog returns the ADC and the input that a sensor is on. Of an unknown one
// nothing but the name is set.
func (t *table) analog() (a ADC, in ads1115.Input) {
	adc := t.text("adc", "")
	a, known := t.f.adcs[adc]
	a.Name = adc
	if adc != "" && !known {
		t.fail("adc", "%q: no such [[adc]]%s%s", adc, didYouMean(adc, t.f.adcNames()), allowed(t.f.adcNames()))
	}
	word := t.text("input", "")
	if word == "" {
		return a, in
	}
	in, err := ads1115.ParseInput(word)
	if err != nil {
		t.fail("input", "%q: no such input (allowed: AIN0, AIN1, AIN2, AIN3, AIN0-AIN1, AIN0-AIN3, AIN1-AIN3, AIN2-AIN3)", word)
	} else if known {
		t.claim("input", "input of "+adc, in.String())
	}
	return a, in
}

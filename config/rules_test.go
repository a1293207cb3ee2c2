package config

import (
	"reflect"
	"strings"
	"testing"
	"time"

	"charwarden/alarms"
	"charwarden/sensors"
)

// with returns the reference file with more tables behind it.
func with(tables string) string { return string(Reference()) + "\n" + tables }

// A table whose name is a built-in alarm's changes only what it says.
func TestOverride(t *testing.T) {
	base := rule(t, parse(t, with("")), "wall_near_stop")
	got := rule(t, parse(t, with(`
[[alarm]]
channel = "wall_near"
as = "stop"
limit = "1150 degF"
deadband = "18 degF"
on_delay = "1 s"
`)), "wall_near_stop")
	if got.Limit < 621.11 || got.Limit > 621.12 || got.Deadband != 10 || got.OnDelay != time.Second { // 1150 degF = 621.11 degC
		t.Errorf("%+v", got)
	}
	got.Limit, got.Deadband, got.OnDelay = base.Limit, base.Deadband, base.OnDelay
	if !reflect.DeepEqual(got, base) {
		t.Errorf("%+v\nwant %+v", got, base)
	}
	fault := rule(t, parse(t, with("[[alarm]]\nchannel = \"wall_near\"\nas = \"fault\"\npriority = \"alarm\"\n")), "wall_near_fault")
	if fault.Kind != alarms.Fault || fault.Priority != alarms.High {
		t.Errorf("%+v", fault)
	}
}

// A new alarm: its defaults, and that stopping or evacuating implies a latch.
func TestNewAlarm(t *testing.T) {
	c := parse(t, with(`
[[alarm]]
channel = "suction"
as = "weak"
kind = "below"
priority = "notice"
limit = "100 Pa"
means = "The engine draws little."
do_first = "Look at the nozzle."
[[alarm]]
channel = "gas_out"
as = "leave"
priority = "evacuate"
limit = "900 °C"
means = "Fire."
do_first = "Leave."
`))
	weak := rule(t, c, "suction_weak")
	if weak.Kind != alarms.Below || weak.Limit != 100 || weak.Deadband != 2 || weak.OffDelay != 10*time.Second || weak.OnDelay != 0 || weak.Latch {
		t.Errorf("%+v", weak)
	}
	if !rule(t, c, "gas_out_leave").Latch {
		t.Error("evacuate without latch")
	}
	runs(t, c)
}

// co is what every CO channel has although its file names no alarm.
const co = `
[rig]
name = "pump"
[[adc]]
name = "adc"
bus = "/dev/i2c-1"
address = 0x48
[[co]]
channel = "co"
adc = "adc"
input = "AIN2"
sensitivity = "2.44 nA/ppm"
transimpedance = "100 kohm"
clean_air = "1.65 V"
full_scale = "1000 ppm"
temperature_table = "none"
`

func TestCOBuiltIn(t *testing.T) {
	c := parse(t, co)
	for name, limit := range map[string]float64{"co_caution": 25, "co_alarm": 100, "co_evacuate": 200} {
		if r := rule(t, c, name); r.Limit != limit {
			t.Errorf("%s: %v", name, r.Limit)
		}
	}
	for _, name := range []string{"co_zero_age_fault", "co_bump_age_fault"} {
		if r := rule(t, c, name); r.Priority != alarms.Notice || r.Latch || !strings.Contains(r.Means, "Nobody has recorded") {
			t.Errorf("%+v", r)
		}
	}
	ages := c.Derived[5:7]
	if ages[0].Name != "co_zero_age" || ages[1].Name != "co_bump_age" || ages[0].Quantity != sensors.Age {
		t.Errorf("%+v", ages)
	}
	if c.Channels[0].MaxRate != 0 {
		t.Error("a rise of CO would be a fault")
	}
	runs(t, c)
}

// What weakens a CO alarm is heard at every start; what strengthens it is not.
func TestWarnings(t *testing.T) {
	for _, c := range []struct{ name, tables, want string }{
		{"raised", "[[alarm]]\nchannel = \"co\"\nas = \"evacuate\"\nlimit = \"300 ppm\"\n", "rig.toml:20: alarm.limit: co_evacuate comes at 300 ppm, later than at 200 ppm"},
		{"lowered", "[[alarm]]\nchannel = \"co\"\nas = \"evacuate\"\nlimit = \"150 ppm\"\n", ""},
		{"quieter", "[[alarm]]\nchannel = \"co\"\nas = \"alarm\"\npriority = \"notice\"\n", "rig.toml:20: alarm.priority: co_alarm is only a notice, not alarm"},
		{"fault quieter", "[[alarm]]\nchannel = \"co\"\nas = \"fault\"\npriority = \"notice\"\n", "rig.toml:20: alarm.priority: co_fault is only"},
		{"later", "[[alarm]]\nchannel = \"co\"\nas = \"alarm\"\non_delay = \"5 min\"\n", "rig.toml:20: alarm.on_delay: co_alarm comes after 5 min, later than after 0 s"},
		{"mean raised", "[[alarm]]\nchannel = \"co_mean_5min\"\nas = \"alarm\"\nlimit = \"150 ppm\"\n", "rig.toml:20: alarm.limit: co_mean_5min_alarm comes at 150 ppm, later than at 100 ppm"},
		{"blood raised", "[[alarm]]\nchannel = \"co_cohb_linear\"\nas = \"evacuate\"\nlimit = \"15 %\"\n", "rig.toml:20: alarm.limit: co_cohb_linear_evacuate comes at 15.0 %, later than at 10.0 %"},
		{"mixed up", "[[alarm]]\nchannel = \"co\"\nas = \"late\"\nkind = \"above\"\npriority = \"caution\"\nlimit = \"120 ppm\"\nmeans = \"Gas.\"\ndo_first = \"Leave.\"\n",
			"rig.toml:22: alarm.limit: co_late comes at 120 ppm, no sooner than co_alarm at 100 ppm: are the two mixed up?"},
		{"not always", "[[alarm]]\nchannel = \"co\"\nas = \"alarm\"\nwhile = [{ phase = [\"running\"] }]\n", "rig.toml:20: alarm.while: co_alarm does not watch at all times"},
		{"engine runs on", "[[alarm]]\nchannel = \"co\"\nas = \"evacuate\"\nstops_engine = false\n", "rig.toml:20: alarm.stops_engine: co_evacuate does not stop the engine"},
		{"shows less", "gain = 0.9\n", "rig.toml:9: co.channel: co shows less carbon monoxide"},
		{"open metrics", "[metrics]\nlisten = \":9455\"\n", "rig.toml:18: metrics.listen: \":9455\": anyone on the network"},
		{"open broker", "[mqtt]\nbroker = \"tcp://192.168.1.5:1883\"\n", "rig.toml:18: mqtt.broker: \"tcp://192.168.1.5:1883\": alarms and password cross the network unencrypted"},
		{"supply unknown", "[[pressure]]\nchannel = \"suction\"\nsensor = \"MPXV7002DP\"\nadc = \"adc\"\ninput = \"AIN0\"\ndivider = 0.6\n", "rig.toml:17: pressure.supply: missing"},
	} {
		got := parse(t, co+c.tables).Warnings
		if c.want == "" && len(got) > 0 || c.want != "" && (len(got) != 1 || !strings.HasPrefix(got[0], c.want)) {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}

// Lowering a CO limit moves the level at which it clears along: 80 %.
func TestCOClears(t *testing.T) {
	r := rule(t, parse(t, co+"[[alarm]]\nchannel = \"co\"\nas = \"alarm\"\nlimit = \"50 ppm\"\n"), "co_alarm")
	if r.Limit != 50 || r.Deadband != 10 {
		t.Errorf("%+v", r)
	}
}

// Channels stand in the order of the file, whatever their kind, before the
// board's own.
func TestFileOrder(t *testing.T) {
	c := parse(t, `
rig.name = "pump"
supply = [{ channel = "rail", bus = "/dev/i2c-1", address = 0x40 }, { channel = "cell", bus = "/dev/i2c-1", address = 0x41 }]
[[ambient]]
bus = "/dev/i2c-1"
address = 0x76
humidity = "damp"
temperature = "air"
[[thermocouple]]
channel = "wall"
type = "k"
port = "/dev/spidev0.0"
offset = "-3.6 degF"
gain = 1.01
max_rate = "20 degC/s"
frozen_after = "2 min"
`)
	var got []string
	for _, ch := range c.Channels {
		got = append(got, ch.Name)
	}
	if s := strings.Join(got, " "); s != "rail cell damp air wall disk_free clock_unsynced" {
		t.Error(s)
	}
	wall := c.Channels[4]
	if d := wall.Offset + 2; d*d > 1e-18 || wall.Gain != 1.01 || wall.MaxRate != 20 || wall.FrozenAfter != 2*time.Minute || wall.Period != 250*time.Millisecond {
		t.Errorf("%+v", wall) // -3.6 degF apart are -2 K apart
	}
	if c.Thermocouples[0].Select != "" || c.MQTT.Broker != "" || c.Metrics.Listen != "127.0.0.1:9455" || c.State != "/var/lib/charwarden" || c.Socket != "/run/charwarden/charwarden.sock" {
		t.Errorf("defaults: %+v", c)
	}
	runs(t, c)
}

// A straight line through two points, and the zero of a pressure.
func TestPressures(t *testing.T) {
	c := parse(t, `
rig.name = "pump"
[[adc]]
name = "a"
bus = "/dev/i2c-1"
address = 0x48
vdd = "5 V"
[[pressure]]
channel = "box"
sensor = "linear"
at = [["0 Pa", "0.5 V"], ["2 kPa", "4.5 V"]]
adc = "a"
input = "AIN0"
zero = "none"
[[pressure]]
channel = "bed"
sensor = "MPX5010DP"
adc = "a"
input = "AIN1"
`)
	if pa, err := c.Pressures[0].Law.Pressure(2.5, 5); err != nil || pa < 999.999 || pa > 1000.001 { // half way
		t.Errorf("%v, %v", pa, err)
	}
	if c.Channels[0].Zero != nil {
		t.Error("zeroed though told not to")
	}
	// Datasheet MPX5010 Rev 13, operating characteristics: error band 5 % of
	// 10 kPa span.
	if z := c.Channels[1].Zero; z == nil || z.UnzeroedPa != 500 {
		t.Errorf("%+v", z)
	}
	runs(t, c)
}

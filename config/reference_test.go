package config

import (
	"bytes"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"charwarden/alarms"
	"charwarden/sensors"
)

func parse(t testing.TB, text string) *Config {
	t.Helper()
	c, err := Parse("rig.toml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func rule(t testing.TB, c *Config, name string) alarms.Rule {
	t.Helper()
	i := slices.IndexFunc(c.Rules, func(r alarms.Rule) bool { return r.Name == name })
	if i < 0 {
		t.Fatalf("no alarm %s", name)
	}
	return c.Rules[i]
}

func TestReference(t *testing.T) {
	c := parse(t, string(Reference()))
	if c.Rig.Name != "pump" || c.Tick != 100*time.Millisecond || len(c.Warnings) > 0 {
		t.Errorf("rig %q, tick %v, warnings %q", c.Rig.Name, c.Tick, c.Warnings)
	}
	var names []string
	for _, ch := range c.Channels {
		names = append(names, ch.Name+" "+ch.Quantity.Unit())
	}
	names = append(names, "then")
	for _, ch := range c.Derived {
		names = append(names, ch.Name+" "+ch.Quantity.Unit())
	}
	want := strings.Split("wall_near degC,wall_far degC,gas_out degC,filter_in degC,filter_out degC,return_line degC,"+
		"suction Pa,filter_drop Pa,co ppm,speed rpm,supply V,air_temp degC,air_pressure Pa,air_humidity ratio,"+
		"board_temp degC,disk_free ratio,clock_unsynced s,then,"+
		"co_mean_5min ppm,co_stel_15min ppm,co_twa_8h ppm,co_cohb percent,co_cohb_linear percent,co_zero_age s,co_bump_age s,"+
		"wall_near_over s,wall_near_reaches s,wall_near_hotter K,wall_near_scale mm,"+
		"wall_far_over s,wall_far_reaches s,wall_far_hotter K,wall_far_scale mm,"+
		"gas_flow Nm3/h,filter_loading percent,charcoal_flow kg/h,charcoal_burnt kg,charcoal_left kg,charcoal_time s,"+
		"filter_clean_mass kg,filter_clean_time s,filter_dew_margin K,bed_exit degC,gas_heat MJ/Nm3,air_need ratio,return_margin ratio,shaft_power W,"+
		"wall_cold_time s,cooldown_tau s,seal_health ratio,reignition K,hold_leak Pa/min,"+
		"bus_stall s,broker_away s,tick_late s,state_unsaved s,output_fault s,log_unsaved s", ",")
	if !slices.Equal(names, want) {
		t.Errorf("channels %q\nwant %q", names, want)
	}
	for _, l := range []struct {
		name     string
		limit    float64
		priority alarms.Priority
		stops    bool
	}{
		{"wall_near_notice", 480, alarms.Notice, false}, {"wall_far_stop", 650, alarms.High, true},
		{"filter_in_caution", 60, alarms.Caution, false}, {"filter_in_alarm", 80, alarms.High, false}, {"filter_in_stop", 100, alarms.High, true},
		{"filter_drop_caution", 250, alarms.Caution, false}, {"filter_drop_alarm", 450, alarms.High, false},
		{"co_caution", 25, alarms.Caution, false}, {"co_alarm", 100, alarms.High, false}, {"co_evacuate", 200, alarms.Evacuate, true},
		{"co_zero_age_notice", 90 * 86400, alarms.Notice, false}, {"co_bump_age_notice", 86400, alarms.Notice, false},
		{"supply_low", 4.75, alarms.Caution, false},
	} {
		if r := rule(t, c, l.name); r.Limit != l.limit || r.Priority != l.priority || r.Stops != l.stops || r.Stops && !r.Latch {
			t.Errorf("%+v, want %+v", r, l)
		}
	}
	if !rule(t, c, "co_evacuate").Latch || rule(t, c, "supply_low").Kind != alarms.Below {
		t.Error("co_evacuate not latched or supply_low not below")
	}
	if d := rule(t, c, "filter_in_stop").Deadband; d != 3 {
		t.Errorf("deadband %v", d)
	}
	rule(t, c, "suction_unzeroed")
	for _, ch := range c.Channels {
		rule(t, c, ch.Name+"_fault")
	}
	runs(t, c)
}

// runs holds that the sweep and the alarm engine take what Parse returns.
func runs(t testing.TB, c *Config) {
	t.Helper()
	if _, err := sensors.NewSweep(c.Channels, nil, time.Unix(0, 0)); err != nil {
		t.Error(err)
	}
	if _, err := alarms.New(c.Rules, append(slices.Clone(c.Channels), c.Derived...)); err != nil {
		t.Error(err)
	}
}

func TestReferenceIsStable(t *testing.T) {
	a, b := parse(t, string(Reference())), parse(t, string(Reference()))
	if !reflect.DeepEqual(a, b) {
		t.Error("two readings differ")
	}
	r := Reference()
	clear(r)
	if bytes.Equal(r, Reference()) {
		t.Error("Reference hands out its own bytes")
	}
	if n := bytes.Count(Reference(), []byte("\n")); n >= 230 {
		t.Errorf("%d lines: too long to read before a fire", n)
	}
	// The same file as an editor on another system saves it.
	dos := "\xef\xbb\xbf" + strings.ReplaceAll(string(Reference()), "\n", "\r\n")
	b = parse(t, dos)
	b.Text = a.Text
	if !reflect.DeepEqual(b, a) {
		t.Error("byte order mark and CRLF change the meaning")
	}
}

// What stands in the reference file as a comment is right as well.
func TestReferenceComments(t *testing.T) {
	text := regexp.MustCompile(`(?m)^# ([a-z_]+ = |\[\[)`).ReplaceAllString(string(Reference()), "$1")
	text = strings.Replace(text, "tcp://127.0.0.1:1883", "ssl://broker.example:8883", 1)
	c := parse(t, text)
	day := time.Date(2026, 3, 31, 0, 0, 0, 0, time.UTC)
	if c.MQTT.User != "charwarden" || c.MQTT.PasswordFile == "" || c.MQTT.CAFile == "" || !c.COs[0].ZeroDate.Equal(day) || !c.COs[0].BumpDate.Equal(day) {
		t.Errorf("%+v %+v", c.MQTT, c.COs)
	}
}

// What the reference rig's places and pins are.
func TestReferenceRoles(t *testing.T) {
	c := parse(t, string(Reference()))
	roles := Roles{
		Walls: []string{"wall_near", "wall_far"}, Steels: make([]alarms.Steel, 2), GasOut: "gas_out", FilterIn: "filter_in", FilterOut: "filter_out", Return: "return_line",
		Suction: "suction", FilterDrop: "filter_drop", Speed: "speed", FilterLoading: "filter_loading", CleanDrop: 125, CleanSuction: 520,
	}
	if !reflect.DeepEqual(c.Roles, roles) {
		t.Errorf("%+v\nwant %+v", c.Roles, roles)
	}
	outputs := Outputs{Horn: "GPIO22", LampRed: "GPIO23", LampYellow: "GPIO24", LampGreen: "GPIO25", WatchPulse: "GPIO26", ResetButton: "GPIO27"}
	if c.Outputs != outputs || c.Board.Thermal != "/sys/class/thermal/thermal_zone0/temp" {
		t.Errorf("%+v %+v", c.Outputs, c.Board)
	}
	// One of every constructor that looks at more than one channel, or at the
	// instrument.
	for _, name := range strings.Fields("wall_near_spread wall_near_cooling wall_far_doubt gas_out_caution filter_in_doubt filter_out_fire " +
		"return_line_cold suction_plugged suction_collapsed filter_drop_plugged filter_loading_hole supply_high board_temp_caution " +
		"disk_free_caution clock_unsynced_notice bus_stall_caution broker_away_notice tick_late_caution state_unsaved_caution output_fault_caution log_unsaved_caution co_twa_8h_caution co_cohb_linear_evacuate") {
		rule(t, c, name)
	}
	for name, cause := range map[string]string{
		"wall_near_fault": "the SPI bus /dev/spidev0", "co_fault": "the I2C bus /dev/i2c-1", "suction_fault": "the I2C bus /dev/i2c-1",
		"air_temp_fault": "the I2C bus /dev/i2c-1", "supply_fault": "the I2C bus /dev/i2c-1", "speed_fault": "", "disk_free_fault": "",
	} {
		if got := rule(t, c, name).Cause; got != cause {
			t.Errorf("%s: cause %q, want %q", name, got, cause)
		}
	}
	for _, r := range c.Rules {
		if own := slices.Contains(ownNames, r.Channel); own && r.Kind == alarms.Fault && r.Priority != alarms.Notice {
			t.Errorf("%s: %v", r.Name, r.Priority)
		}
	}
}

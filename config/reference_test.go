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
	want := strings.Split("wall_near degC,wall_far degC,gas_out degC,filter_in degC,filter_out degC,return_line degC,"+
		"suction Pa,filter_drop Pa,co ppm,co_zero_age s,co_bump_age s,speed rpm,supply V,air_temp degC,air_pressure Pa,air_humidity ratio", ",")
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
	if _, err := alarms.New(c.Rules, c.Channels); err != nil {
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
	if n := bytes.Count(Reference(), []byte("\n")); n >= 200 {
		t.Errorf("%d lines: too long to read before a fire", n)
	}
	// The same file as an editor on another system saves it.
	dos := "\xef\xbb\xbf" + strings.ReplaceAll(string(Reference()), "\n", "\r\n")
	if !reflect.DeepEqual(parse(t, dos), a) {
		t.Error("byte order mark and CRLF change the meaning")
	}
}

// What stands in the reference file as a comment is right as well.
func TestReferenceComments(t *testing.T) {
	text := regexp.MustCompile(`(?m)^# ([a-z_]+ = )`).ReplaceAllString(string(Reference()), "$1")
	text = strings.Replace(text, "tcp://127.0.0.1:1883", "ssl://broker.example:8883", 1)
	c := parse(t, text)
	day := time.Date(2026, 3, 31, 0, 0, 0, 0, time.UTC)
	if c.MQTT.User != "charwarden" || c.MQTT.PasswordFile == "" || c.MQTT.CAFile == "" || !c.COs[0].ZeroDate.Equal(day) || !c.COs[0].BumpDate.Equal(day) {
		t.Errorf("%+v %+v", c.MQTT, c.COs)
	}
}

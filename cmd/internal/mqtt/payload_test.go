package mqtt

import (
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"

	"charwarden/alarms"
	"charwarden/sensors"
)

func TestReadingPayload(t *testing.T) {
	p := pumpPublisher(t, pumpOpts(t, "mqtt://127.0.0.1"))
	at := start.Add(1250 * time.Millisecond).In(time.FixedZone("", 7200))
	for _, tc := range []struct {
		name string
		r    sensors.Reading
		want string
	}{
		{"good", sensors.Reading{Channel: "wall_near", At: at, Value: 655.2481, Status: sensors.Good},
			`{"value":655.25,"unit":"degC","status":"good","time":"2026-05-03T09:12:01.250Z","boot":"5e1f","mono_s":84.31}`},
		{"within", sensors.Reading{Channel: "wall_near", At: at, Value: 655.2481, Uncertainty: 2.25, AtLeast: true, Status: sensors.Good},
			`{"value":655.25,"unit":"degC","status":"good","time":"2026-05-03T09:12:01.250Z","boot":"5e1f","mono_s":84.31,"at_least":true,"uncertainty":2.25}`},
		{"fault", sensors.Bad("wall_near", at, sensors.Open, nil),
			`{"value":null,"unit":"degC","status":"open","time":"2026-05-03T09:12:01.250Z","boot":"5e1f","mono_s":84.31}`},
		{"clipped carries full scale but shows no value",
			sensors.Reading{Channel: "co", At: at, Value: 1000, Status: sensors.ClippedHigh},
			`{"value":null,"unit":"ppm","status":"clipped_high","time":"2026-05-03T09:12:01.250Z","boot":"5e1f","mono_s":84.31}`},
		{"never read", sensors.Reading{Channel: "speed"},
			`{"value":null,"unit":"rpm","status":"unknown","time":null,"boot":"5e1f","mono_s":null}`},
		{"no minus zero", sensors.Reading{Channel: "suction", At: at, Value: -0.04, Status: sensors.Good},
			`{"value":0,"unit":"Pa","status":"good","time":"2026-05-03T09:12:01.250Z","boot":"5e1f","mono_s":84.31}`},
		{"good but no number", sensors.Reading{Channel: "supply", At: at, Value: math.Inf(1), Status: sensors.Good},
			`{"value":null,"unit":"V","status":"good","time":"2026-05-03T09:12:01.250Z","boot":"5e1f","mono_s":84.31}`},
	} {
		c := &p.o.Channels[p.channels[tc.r.Channel]]
		if got := string(p.readingPayload(c, &tc.r)); got != tc.want {
			t.Errorf("%s:\n got %s\nwant %s", tc.name, got, tc.want)
		}
	}
}

func TestAlarmPayload(t *testing.T) {
	p := pumpPublisher(t, pumpOpts(t, "mqtt://127.0.0.1"))
	for _, tc := range []struct {
		a    alarms.Alarm
		want string
	}{
		{alarms.Alarm{Rule: &pumpRules[0], State: alarms.Unacknowledged, Value: 655.25, Since: start, Seq: 3},
			`{"name":"wall_near_stop","channel":"wall_near","priority":"alarm","state":"unacknowledged","value":655.25,"limit":650,"unit":"degC","since":"2026-05-03T09:12:00.000Z","seq":3,"means":"The wall near the nozzle is hotter than its lining stands","do_first":"Close the air slide."}`},
		{alarms.Alarm{Rule: &pumpRules[2], Value: math.NaN()},
			`{"name":"supply_low","channel":"supply","priority":"notice","state":"normal","value":null,"limit":11.8,"unit":"V","since":null,"seq":0,"means":null,"do_first":null}`},
		{alarms.Alarm{Rule: &pumpRules[3], State: alarms.Latched, Value: 61, Since: start, Seq: 1},
			`{"name":"gas_out_fault","channel":"gas_out","priority":"caution","state":"latched","value":null,"limit":null,"unit":null,"since":"2026-05-03T09:12:00.000Z","seq":1,"means":"Nobody is watching gas_out.","do_first":"Look at its plug."}`},
	} {
		if got := string(p.alarmPayload(&tc.a)); got != tc.want {
			t.Errorf("\n got %s\nwant %s", got, tc.want)
		}
	}
}

func TestEventPayload(t *testing.T) {
	p := pumpPublisher(t, pumpOpts(t, "mqtt://127.0.0.1"))
	tr := alarms.Transition{At: start, From: alarms.Normal,
		Alarm: alarms.Alarm{Rule: &pumpRules[1], State: alarms.Unacknowledged, Value: 212.5, Since: start, Seq: 1}}
	want := `{"time":"2026-05-03T09:12:00.000Z","boot":"5e1f","mono_s":83.06,"alarm":"co_evacuate","channel":"co","from":"normal","to":"unacknowledged","priority":"evacuate","value":212.5,"limit":200,"unit":"ppm","seq":1}`
	if got := string(p.eventPayload(&tr)); got != want {
		t.Errorf("\n got %s\nwant %s", got, want)
	}
}

func TestSummaryPayload(t *testing.T) {
	as := normalAlarms()
	s := summarise(as, "")
	want := `{"worst":null,"standing":{"alarm":0,"caution":0,"evacuate":0,"notice":0},"states":{"acknowledged":0,"latched":0,"latched_acknowledged":0,"normal":9,"out_of_service":0,"returned":0,"shelved":0,"suppressed":0,"unacknowledged":0},"phase":null,"version":null}`
	if got := string(s.payload("")); got != want {
		t.Errorf("\n got %s\nwant %s", got, want)
	}
	as[0].State, as[3].State = alarms.Returned, alarms.Acknowledged
	s = summarise(as, "running")
	want = `{"worst":"alarm","standing":{"alarm":1,"caution":1,"evacuate":0,"notice":0},"states":{"acknowledged":1,"latched":0,"latched_acknowledged":0,"normal":7,"out_of_service":0,"returned":1,"shelved":0,"suppressed":0,"unacknowledged":0},"phase":"running","version":"0.1.0"}`
	if got := string(s.payload("0.1.0")); got != want {
		t.Errorf("\n got %s\nwant %s", got, want)
	}
	if n := len(alarms.States()); n > len(s.states) {
		t.Errorf("there are %d states, the summary has room for %d", n, len(s.states))
	}
}

// Whatever float comes, the payload is JSON (RFC 8259 has no NaN and no
// infinity) and a number comes back to within half a unit of its last place.
func FuzzReadingValue(f *testing.F) {
	p := pumpPublisher(f, pumpOpts(f, "mqtt://127.0.0.1"))
	for _, v := range []float64{0, -0.001, 655.25, math.NaN(), math.Inf(-1), 1e300, -1e-300, 123456789.987} {
		f.Add(v)
	}
	f.Fuzz(func(t *testing.T, v float64) {
		b := p.readingPayload(&pumpChannels[0], &sensors.Reading{At: start, Value: v, Status: sensors.Good})
		var got struct{ Value *float64 }
		if err := json.Unmarshal(b, &got); err != nil {
			t.Fatalf("%v: %s: %v", v, b, err)
		}
		if math.IsNaN(v) || math.IsInf(v, 0) {
			if got.Value != nil {
				t.Fatalf("%v became %v", v, *got.Value)
			}
			return
		}
		if got.Value == nil || math.Abs(*got.Value-v) > 0.005+1e-9 || strings.Contains(string(b), "-0,") {
			t.Fatalf("%v became %s", v, b)
		}
	})
}

// What is put together by hand is what encoding/json makes of a struct.
func FuzzReadingPayload(f *testing.F) {
	p := pumpPublisher(f, pumpOpts(f, "mqtt://127.0.0.1"))
	f.Add(0, 655.2481, 2.25, uint8(sensors.Good), true, int64(1250), "5e1f")
	f.Add(3, math.NaN(), 0.0, uint8(sensors.Open), false, int64(-1), "a \"<b>\\ é\x00\xff")
	f.Fuzz(func(t *testing.T, channel int, value, within float64, status uint8, bound bool, ms int64, boot string) {
		c := &p.o.Channels[uint(channel)%uint(len(p.o.Channels))]
		p.o.Boot = boot
		r := sensors.Reading{Value: value, Uncertainty: within, Status: sensors.Status(status), AtLeast: bound}
		if ms >= 0 {
			r.At = start.Add(time.Duration(ms) * time.Millisecond)
		}
		var want struct {
			Value  number `json:"value"`
			Unit   string `json:"unit"`
			Status string `json:"status"`
			Time   stamp  `json:"time"`
			Boot   string `json:"boot"`
			MonoS  number `json:"mono_s"`
			Bound  bool   `json:"at_least,omitempty"`

			Within *number `json:"uncertainty,omitempty"`
		}
		want.Value = null
		want.Unit, want.Status, want.Time, want.Boot, want.MonoS, want.Bound = c.Quantity.Unit(), r.Status.String(), stamp(r.At), boot, p.mono(r.At), bound
		if places := displays[c.Quantity].places; r.Status == sensors.Good {
			want.Value = number{value, places}
			if within > 0 {
				want.Within = &number{within, places + 1}
			}
		}
		if got := p.readingPayload(c, &r); string(got) != string(encode(want)) {
			t.Errorf("\n got %s\nwant %s", got, encode(want))
		}
	})
}

func BenchmarkReadingPayload(b *testing.B) {
	p := pumpPublisher(b, pumpOpts(b, "mqtt://127.0.0.1"))
	r := sensors.Reading{At: start.Add(time.Second), Value: 655.2481, Uncertainty: 2.25, Status: sensors.Good}
	b.ReportAllocs()
	for b.Loop() {
		p.readingPayload(&p.o.Channels[0], &r)
	}
}

package dashboards

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"charwarden/alarms"
	"charwarden/cmd/internal/names"
	"charwarden/sensors"
	"charwarden/sensors/derive/phase"
)

// synthRun is a run made up for the tests: half an hour of lighting, an hour of
// engine, half an hour sealed. Its metrics and labels are those of the live page;
// its figures are round, so that what a dashboard says of it can be reckoned by
// hand.
type synthRun struct {
	number  string
	begin   time.Time
	kgPerH  float64 // while the engine runs
	nm3PerH float64
	watts   float64
	wall    float64 // of wall_near while the engine runs
	loading float64 // at the start of the engine; rises by 6 an hour
	tau     float64
	evac    bool // carbon monoxide at 250 ppm for a minute after an hour
}

var synthRuns = []synthRun{
	{number: "7", begin: time.Date(2026, 5, 3, 8, 0, 0, 0, time.UTC), kgPerH: 2, nm3PerH: 9, watts: 1600, wall: 470, loading: 5, tau: 5400},
	{number: "8", begin: time.Date(2026, 5, 4, 9, 30, 0, 0, time.UTC), kgPerH: 2.4, nm3PerH: 9.5, watts: 1500, wall: 560, loading: 12, tau: 6000, evac: true},
}

const (
	synthStep = 15 * time.Second
	synthLast = 2 * time.Hour
)

// at gives the channels' values, absent ones left out, at an age of the run.
func (r synthRun) at(age time.Duration) (now phase.Phase, values map[string]float64) {
	h := age.Hours()
	now = phase.Lighting
	engine, sealed := h >= 0.5 && h < 1.5, h >= 1.5
	on := 0.0
	switch {
	case sealed:
		now = phase.Sealed
	case engine:
		now, on = phase.Running, 1
	}
	wall := 20 + 2*h*(r.wall-20)
	if engine {
		wall = r.wall
	} else if sealed {
		wall = 20 + (r.wall-20)*math.Exp(-(h-1.5)*3600/r.tau)
	}
	ran := min(max(h-0.5, 0), 1)
	co := 2.0
	if r.evac && h >= 1 && h < 1+1./60 {
		co = 250
	}
	v := map[string]float64{
		"wall_near": wall, "wall_far": wall - 60, "gas_out": wall / 2, "filter_in": 20 + 25*on, "filter_out": 20 + 20*on,
		"return_line": 20 + 200*on, "bed_exit": 20 + 800*on, "air_temp": 20, "board_temp": 45,
		"suction": 520 * on, "filter_drop": 125 * on, "air_pressure": 99800, "air_humidity": 0.6, "co": co, "supply": 5.02,
		"co_mean_5min": co, "co_stel_15min": co, "co_twa_8h": h, "co_cohb_linear": 0.5, "co_cohb": 0.6,
		"speed": 3000 * on, "charcoal_burnt": 100 + r.kgPerH*ran, "charcoal_left": 8 - r.kgPerH*ran,
		"disk_free": 0.7, "bus_stall": 0, "broker_away": 0, "tick_late": 0, "state_unsaved": 0, "output_fault": 0, "log_unsaved": 0,
		"clock_unsynced": 12, "co_zero_age": 86400 * 20, "co_bump_age": 3600 + 3600*h,
		"wall_near_over": 60 * h, "wall_near_scale": 0.2,
	}
	if engine {
		for name, x := range map[string]float64{"gas_flow": r.nm3PerH, "filter_loading": r.loading + 6*ran, "charcoal_flow": r.kgPerH,
			"charcoal_time": 3600, "filter_clean_mass": 9 - ran, "filter_dew_margin": 12, "gas_heat": 5.2, "air_need": 1.1, "return_margin": 0.1,
			"shaft_power": r.watts, "wall_near_hotter": 4} {
			v[name] = x
		}
	}
	if sealed {
		v["cooldown_tau"], v["seal_health"], v["reignition"] = r.tau, 0.95, 0
	}
	return now, v
}

// family of each channel that at may name.
func synthFamily(name string) string {
	for _, f := range []struct{ suffix, metric string }{
		{"_mean_5min", names.COMeanPpm}, {"_stel_15min", names.COMeanPpm}, {"_twa_8h", names.COMeanPpm},
		{"_cohb_linear", names.COHbPercent}, {"_cohb", names.COHbPercent},
		{"_over", names.AgeSeconds}, {"_scale", names.ThicknessMM}, {"_hotter", names.DifferenceKelvins},
		{"gas_flow", names.GasFlowNm3PerHour}, {"charcoal_flow", names.MassFlowKgPerHour}, {"_loading", names.LoadingPercent},
		{"_burnt", names.MassKilograms}, {"_left", names.MassKilograms}, {"_mass", names.MassKilograms},
		{"_margin", names.DifferenceKelvins}, {"gas_heat", names.HeatMJPerNm3}, {"shaft_power", names.PowerWatts},
		{"air_need", names.Ratio}, {"disk_free", names.Ratio}, {"seal_health", names.Ratio}, {"reignition", names.DifferenceKelvins},
		{"suction", names.PressurePascals}, {"filter_drop", names.PressurePascals}, {"air_pressure", names.PressurePascals},
		{"air_humidity", names.HumidityRatio}, {"supply", names.SupplyVolts}, {"speed", names.SpeedRpm},
		{"_near", names.TemperatureCelsius}, {"_far", names.TemperatureCelsius}, {"gas_out", names.TemperatureCelsius},
		{"filter_in", names.TemperatureCelsius}, {"filter_out", names.TemperatureCelsius}, {"return_line", names.TemperatureCelsius},
		{"bed_exit", names.TemperatureCelsius}, {"_temp", names.TemperatureCelsius},
	} {
		if strings.HasSuffix(name, f.suffix) {
			if name == "return_margin" {
				return names.Ratio
			}
			return f.metric
		}
	}
	if name == "co" {
		return names.COPpm
	}
	return names.AgeSeconds
}

func synthRules() []alarms.Rule {
	rules := append(alarms.CORules("co"), alarms.WallRules("wall_near", alarms.CarbonSteel)[:4]...)
	return append(rules, alarms.FaultRule(sensors.Channel{Name: "wall_far", Quantity: sensors.Temperature}))
}

// writeSynth writes the runs as OpenMetrics text: each series in order of time,
// unique, and # EOF at the end.
func writeSynth(out io.Writer, runs ...synthRun) error {
	w := bufio.NewWriter(out)
	series := map[string][]string{} // by series: its lines
	var order []string
	for _, r := range runs {
		for age := time.Duration(0); age <= synthLast; age += synthStep {
			stamp := r.begin.Add(age).Unix()
			put := func(metric string, v float64, labels ...string) {
				labels = append(labels, labelRun, r.number)
				var pairs []string
				for i := 0; i < len(labels); i += 2 {
					pairs = append(pairs, fmt.Sprintf("%s=%q", labels[i], labels[i+1]))
				}
				key := metric + "{" + strings.Join(pairs, ",") + "}"
				if series[key] == nil {
					order = append(order, key)
				}
				series[key] = append(series[key], fmt.Sprintf("%s %g %d\n", key, v, stamp))
			}
			r.page(age, put)
		}
	}
	for _, key := range order {
		for _, line := range series[key] {
			w.WriteString(line)
		}
	}
	w.WriteString("# EOF\n")
	return w.Flush()
}

// page is what the metrics page says at an age of the run.
func (r synthRun) page(age time.Duration, put func(metric string, v float64, labels ...string)) {
	now, values := r.at(age)
	torn := age >= 40*time.Minute && age < 41*time.Minute // the plug of wall_far
	for _, name := range synthChannels {
		v, good := values[name]
		if good = good && !(torn && name == "wall_far"); good {
			put(synthFamily(name), v, names.LabelChannel, name)
		}
		put(names.ChannelUp, number(good), names.LabelChannel, name)
		put(names.ChannelAgeSeconds, 0.1, names.LabelChannel, name)
	}
	put(names.ChannelFaults, number(age >= 40*time.Minute), names.LabelChannel, "wall_far", names.LabelFault, "open")
	standing := map[alarms.Priority]float64{}
	for _, rule := range synthRules() {
		v, good := values[rule.Channel]
		raised := rule.Kind == alarms.Above && good && v >= rule.Limit || rule.Kind == alarms.Fault && torn
		for _, s := range alarms.States() {
			put(names.AlarmState, number(raised && s == alarms.Unacknowledged || !raised && s == alarms.Normal),
				names.LabelAlarm, rule.Name, names.LabelPriority, rule.Priority.String(), names.LabelState, s.String())
		}
		standing[rule.Priority] += number(raised)
	}
	for p := alarms.Notice; p <= alarms.Evacuate; p++ {
		put(names.AlarmStanding, standing[p], names.LabelPriority, p.String())
	}
	for ph := phase.Cold; ph <= phase.Sealed; ph++ {
		put(names.Phase, number(ph == now), names.LabelPhase, ph.String())
	}
	put(names.LoopAgeSeconds, 0.05)
	put(names.TickSeconds, 0.001)
	put(names.TickMaxSeconds, 0.004)
	for _, m := range []string{names.TicksMissed, names.ReadingsMissed, names.ReadingsDropped, names.MQTTDropped, names.RunLogDropped, names.RunLogFaults} {
		put(m, 0)
	}
	put(names.BusStuckSeconds, 0, names.LabelBus, "i2c-1")
	put(names.MQTTConnected, 1)
	put(names.RunLogFileBytes, 2.4e6)
	put(names.RunLogQueuedBytes, 900)
}

// synthChannels are all that at may name.
var synthChannels = func() (all []string) {
	seen := map[string]bool{}
	for age := time.Duration(0); age <= synthLast; age += synthStep {
		_, values := synthRuns[0].at(age)
		for name := range values {
			if !seen[name] {
				seen[name] = true
				all = append(all, name)
			}
		}
	}
	return all
}()

func number(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

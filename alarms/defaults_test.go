package alarms

import (
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"charwarden/sensors"
)

// rig is the reference rig's channels, with those derived from them.
var rig = []sensors.Channel{
	{Name: "wall_near", Quantity: sensors.Temperature},
	{Name: "wall_far", Quantity: sensors.Temperature},
	{Name: "gas_out", Quantity: sensors.Temperature},
	{Name: "filter_in", Quantity: sensors.Temperature},
	{Name: "filter_out", Quantity: sensors.Temperature},
	{Name: "return_line", Quantity: sensors.Temperature},
	{Name: "suction", Quantity: sensors.Pressure},
	{Name: "filter_drop", Quantity: sensors.Pressure},
	{Name: "filter_loading", Quantity: sensors.Loading},
	{Name: "co", Quantity: sensors.CO},
	{Name: "co_mean_5min", Quantity: sensors.Mean},
	{Name: "co_stel_15min", Quantity: sensors.Mean},
	{Name: "co_twa_8h", Quantity: sensors.Mean},
	{Name: "co_cohb_linear", Quantity: sensors.COHb},
	{Name: "speed", Quantity: sensors.Speed},
	{Name: "supply", Quantity: sensors.Voltage},
	{Name: "air_temp", Quantity: sensors.Temperature},
	{Name: "air_pressure", Quantity: sensors.Pressure},
	{Name: "air_humidity", Quantity: sensors.Humidity},
	{Name: "last_bump", Quantity: sensors.Age},
	{Name: "board_temp", Quantity: sensors.Temperature},
	{Name: "disk_free", Quantity: sensors.Ratio},
	{Name: "clock_unsynced", Quantity: sensors.Age},
	{Name: "bus_stall", Quantity: sensors.Age},
	{Name: "broker_away", Quantity: sensors.Age},
	{Name: "tick_late", Quantity: sensors.Age},
	{Name: "state_unsaved", Quantity: sensors.Age},
	{Name: "output_fault", Quantity: sensors.Age},
	{Name: "log_unsaved", Quantity: sensors.Age},
}

// rigRules is every built-in rule that fits the rig, whose clean suction is
// given in Pa.
func rigRules(clean float64) (rules []Rule) {
	for _, c := range rig {
		rules = append(rules, FaultRule(c))
	}
	add := func(more ...Rule) { rules = append(rules, more...) }
	add(UnzeroedRule("suction"), UnzeroedRule("filter_drop"))
	add(CORules("co")...)
	add(ExposureRules("co")...)
	add(WallRules("wall_near", CarbonSteel)...)
	add(WallRules("wall_far", CarbonSteel)...)
	add(WallSpreadRule("wall_near", "wall_far"), CoolingRule("wall_near"), CoolingRule("wall_far"))
	add(GasRules("filter_in")...)
	add(GasOutRule("gas_out"), FilterFireRule("filter_out", "filter_in"), ReturnColdRule("return_line"))
	add(FilterDropRules("filter_drop")...)
	add(FilterLoadingRules("filter_loading", "suction", clean)...)
	add(PluggedTapRule("filter_drop", "speed"), PluggedTapRule("suction", "speed"))
	add(SuctionRules("suction", clean)...)
	add(DoubtRules("filter_in", "gas_out", "wall_near", "wall_far")...)
	add(SupplyRules("supply")...)
	add(BoardRule("board_temp"), ClockRule("clock_unsynced"), BusRule("bus_stall"), BrokerRule("broker_away"), LoopRule("tick_late"), StateRule("state_unsaved"), OutputRule("output_fault"), LogRule("log_unsaved"))
	add(DiskRules("disk_free")...)
	return rules
}

func named(t *testing.T, rules []Rule, name string) *Rule {
	i := slices.IndexFunc(rules, func(r Rule) bool { return r.Name == name })
	if i < 0 {
		t.Fatalf("no rule %s", name)
	}
	return &rules[i]
}

// Every built-in rule is one that the engine takes, of any steel.
func TestBuiltInRulesAreWhole(t *testing.T) {
	rules := rigRules(500)
	if _, err := New(rules, rig); err != nil {
		t.Error(err)
	}
	for s := range steels {
		rules = append(rules, WallRules("flue", s)...)
	}
	for i := range rules {
		for _, err := range rules[i].check() {
			t.Errorf("%s: %v", rules[i].Name, err)
		}
	}
}

// The numbers are the ones that were agreed on; there is no outside source for
// most of them. What is not named here is zero.
func TestBuiltInRules(t *testing.T) {
	const s, m = time.Second, time.Minute
	want := map[string]Rule{
		"co_caution":              {Priority: Caution, Limit: 25, Deadband: 5, OnDelay: m, OffDelay: m},
		"co_alarm":                {Priority: High, Limit: 100, Deadband: 20, OffDelay: m, ReAlarm: 4 * m, Hazard: Gas},
		"co_evacuate":             {Priority: Evacuate, Limit: 200, Deadband: 40, OffDelay: m, ReAlarm: m, Latch: true, Stops: true, Never: true, Hazard: Gas},
		"co_mean_5min_alarm":      {Priority: High, Limit: 100, Deadband: 20, OffDelay: m, ReAlarm: 4 * m, Hazard: Gas},
		"co_stel_15min_alarm":     {Priority: High, Limit: 100, Deadband: 20, OffDelay: m, ReAlarm: 4 * m, Hazard: Gas},
		"co_twa_8h_caution":       {Priority: Caution, Limit: 20, Deadband: 4, OffDelay: m},
		"co_cohb_linear_caution":  {Priority: Caution, Limit: 2.5, Deadband: 0.5, OffDelay: m},
		"co_cohb_linear_alarm":    {Priority: High, Limit: 5, Deadband: 1, OffDelay: m, ReAlarm: 4 * m, Hazard: Gas},
		"co_cohb_linear_evacuate": {Priority: Evacuate, Limit: 10, Deadband: 2, OffDelay: m, ReAlarm: m, Latch: true, Stops: true, Never: true, Hazard: Gas},
		"wall_near_notice":        {Priority: Notice, Limit: 480, Deadband: 10, OnDelay: 3 * s, OffDelay: m},
		"wall_near_caution":       {Priority: Caution, Limit: 540, Deadband: 10, OnDelay: 3 * s, OffDelay: m},
		"wall_near_alarm":         {Priority: High, Limit: 600, Deadband: 10, OnDelay: 3 * s, OffDelay: m, Hazard: Fire},
		"wall_near_stop":          {Priority: High, Limit: 650, Deadband: 10, OnDelay: 3 * s, OffDelay: m, Latch: true, Stops: true, Hazard: Fire},
		"filter_in_caution":       {Priority: Caution, Limit: 60, Deadband: 3, OnDelay: 5 * s, OffDelay: 30 * s},
		"filter_in_alarm":         {Priority: High, Limit: 80, Deadband: 3, OnDelay: 3 * s, OffDelay: 30 * s},
		"filter_in_stop":          {Priority: High, Limit: 100, Deadband: 3, OnDelay: 3 * s, OffDelay: 30 * s, Latch: true, Stops: true, Hazard: Fire},
		"filter_drop_caution":     {Priority: Caution, Limit: 250, Deadband: 10, OnDelay: 15 * s, OffDelay: 15 * s},
		"filter_drop_alarm":       {Priority: High, Limit: 450, Deadband: 10, OnDelay: 15 * s, OffDelay: 15 * s},
		"suction_unzeroed":        {Kind: Zeroing, Priority: Notice, OnDelay: 20 * s},
		"supply_low":              {Kind: Below, Priority: Caution, Limit: 4.75, Deadband: 0.05, OnDelay: 5 * s, OffDelay: 10 * s},
		"supply_high":             {Priority: Notice, Limit: 5.25, Deadband: 0.05, OnDelay: 5 * s, OffDelay: 10 * s},
		"board_temp_caution":      {Priority: Caution, Limit: 75, Deadband: 5, OnDelay: m, OffDelay: 10 * s},
		"disk_free_notice":        {Kind: Below, Priority: Notice, Limit: 0.1, Deadband: 0.02, OffDelay: 10 * s},
		"disk_free_caution":       {Kind: Below, Priority: Caution, Limit: 0.03, Deadband: 0.01, OffDelay: 10 * s},
		"clock_unsynced_notice":   {Priority: Notice, Limit: 3600, Deadband: 60, OffDelay: 10 * s},
		"bus_stall_caution":       {Priority: Caution, Limit: 3, Deadband: 2, OffDelay: 10 * s},
		"broker_away_notice":      {Priority: Notice, Limit: 60, Deadband: 30, OffDelay: 10 * s},
		"state_unsaved_caution":   {Priority: Caution, Limit: 30, Deadband: 10, OffDelay: 10 * s},
		"log_unsaved_caution":     {Priority: Caution, Limit: 30, Deadband: 10, OffDelay: 10 * s},
		"output_fault_caution":    {Priority: Caution, Limit: 1, Deadband: 0.5, OffDelay: 10 * s},
		"tick_late_caution":       {Priority: Caution, Limit: 1, Deadband: 0.5, OffDelay: 10 * s},
	}
	for _, c := range rig {
		p := Notice
		switch c.Name {
		case "co":
			p = High
		case "wall_near", "wall_far", "gas_out", "filter_in", "filter_out", "return_line", "suction", "filter_drop", "speed", "board_temp":
			p = Caution
		}
		want[c.Name+"_fault"] = Rule{Kind: Fault, Priority: p, OnDelay: 2 * s, OffDelay: 5 * s, Latch: p == High, Never: p == High}
	}
	rules := rigRules(500)
	for name, w := range want {
		r := named(t, rules, name)
		w.Name, w.Channel, w.Means, w.DoFirst = r.Name, r.Channel, r.Means, r.DoFirst
		if !reflect.DeepEqual(*r, w) {
			t.Errorf("got  %+v\nwant %+v", *r, w)
		}
	}
}

// ASM's limits for 304 in dry air are 870 and 925 degC, those of zinc 200 and
// 275 (galvanizers' manual), the oxidation limit of carbon steel 482 to 510
// and its bad scaling 538 (all second hand).
func TestSteels(t *testing.T) {
	for word, want := range map[string][4]float64{
		"carbon_steel":  {480, 540, 600, 650},
		"stainless_304": {760, 815, 870, 925},
		"galvanised":    {180, 200, 275, 350},
	} {
		s, err := ParseSteel(word)
		if err != nil || s.String() != word {
			t.Errorf("%s: %v, %v", word, s, err)
		}
		rules := WallRules("flue", s)
		for i, what := range []string{"notice", "caution", "alarm", "stop"} {
			if r := named(t, rules, "flue_"+what); r.Limit != want[i] {
				t.Errorf("%s %s at %g, want %g", word, what, r.Limit, want[i])
			}
		}
		if r := named(t, rules, "flue_projected"); r.Limit != want[2] {
			t.Errorf("%s is projected to %g, want its alarm, %g", word, r.Limit, want[2])
		}
	}
	for _, word := range []string{"", "Galvanised", "steel", "steel(3)"} {
		if s, err := ParseSteel(word); err == nil {
			t.Errorf("%q is %v", word, s)
		}
	}
}

// What the person reads: whole sentences that fit a line of the phone; of a CO
// alarm first the way out, of a trip last that the fire still burns.
func TestBuiltInWords(t *testing.T) {
	const first = "Leave now, upwind. Do not go back to shut anything or to silence the horn."
	const last = "Ignition off does not stop the fire: gas may now come out."
	rules := rigRules(500)
	for s := range steels {
		rules = append(rules, WallRules("flue", s)...)
	}
	for _, r := range rules {
		for _, text := range []string{r.Means, r.DoFirst} {
			if !strings.HasSuffix(text, ".") || strings.ContainsAny(text, "\n\t") || strings.Contains(strings.ToLower(text), "safe") {
				t.Errorf("%s: %q", r.Name, text)
			}
			if n := utf8.RuneCountInString(text); n > 240 {
				t.Errorf("%s: %d letters: %q", r.Name, n, text)
			}
		}
		leave := r.Kind == Above && (r.Channel == "co" || strings.HasPrefix(r.Channel, "co_")) && r.Priority >= High
		if strings.HasPrefix(r.DoFirst, first+" When the air is proved clear, ") != leave || (r.Hazard == Gas) != leave {
			t.Errorf("%s: sound %v, begins with %q", r.Name, r.Hazard, r.DoFirst)
		}
		if strings.HasSuffix(r.DoFirst, last) != r.Stops {
			t.Errorf("%s: ends with %q", r.Name, r.DoFirst)
		}
	}
}

package config

import (
	"math"
	"strings"
	"testing"
)

func TestProcess(t *testing.T) {
	c := parse(t, string(Reference()))
	near := func(what string, got, want float64) {
		if math.Abs(got-want) > 1e-12*math.Abs(want) {
			t.Errorf("%s: %g, want %g", what, got, want)
		}
	}
	near("bore", c.Nozzle.Bore, 0.0111)
	near("discharge", c.Nozzle.Discharge, 0.8)
	near("displacement", c.Engine.Displacement, 420e-6)
	near("volumetric efficiency", c.Engine.VolumetricEfficiency, 0.8)
	near("carbon", c.Charcoal.Fuel.Carbon, 0.9)
	near("heat", c.Charcoal.Fuel.HHV, 0)
	near("moisture", c.Charcoal.Moisture, 0.05)
	near("hopper", c.Charcoal.Hopper, 8)
	near("loss", c.Hearth.Loss, 0.1)
	near("return", c.Hearth.Return, 0.1)

	c = parse(t, strings.NewReplacer(`bore = "11.1 mm"`, `gas = "2.5 NL/s"`, `"420 cc"`, `"0.42 L"`, `ash = "2.5 %"`, `heat = "8.9 kWh/kg"`,
		`"8 kg"`, `"17.6 lb"`, `loss = "10 %"`, `wall_area = "9 dm2"`).Replace(string(Reference())))
	near("gas", c.Nozzle.Gas, 9)
	near("displacement", c.Engine.Displacement, 420e-6)
	near("heat", c.Charcoal.Fuel.HHV, 32.04e6)
	near("hopper", c.Charcoal.Hopper, 17.6*0.45359237)
	near("wall area", c.Hearth.WallArea, 0.09)
}

// A derived channel is there when the sensors that it needs are.
func TestReckonedChannels(t *testing.T) {
	has := func(c *Config, name string) bool {
		for _, ch := range c.Derived {
			if ch.Name == name {
				return true
			}
		}
		return false
	}
	const couple = "[rig]\nname = \"pump\"\n[[thermocouple]]\nchannel = \"shell\"\ntype = \"K\"\nport = \"/dev/spidev0.0\"\nwatch = \"wall\"\nsteel = \"stainless_304\"\n"
	c := parse(t, couple)
	for name, want := range map[string]bool{"shell_over": true, "shell_hotter": true, "shell_scale": false, "cooldown_tau": true,
		"gas_flow": false, "charcoal_left": false, "hold_leak": false, "bed_exit": false} {
		if has(c, name) != want {
			t.Errorf("one wall: %s is there: %v", name, !want)
		}
	}
	const scale = "[rig]\nname = \"pump\"\n[[scale]]\nchannel = \"hopper\"\nclock = \"GPIO14\"\ndata = \"GPIO15\"\nper_kg = -21500\nfull_scale = \"20 kg\"\n"
	c = parse(t, scale)
	if !has(c, "charcoal_left") || has(c, "gas_flow") || c.Roles.Scale != "hopper" || c.Scales[0].PerKilogram != -21500 {
		t.Errorf("a scale alone: %+v %+v", c.Derived, c.Scales)
	}
	// Speed alone does not know the throttle: no filter is judged by it.
	c = parse(t, strings.NewReplacer("[nozzle]", "", `bore = "11.1 mm"`, "", "discharge = 0.8", "", `clean = "125 Pa"`, "").Replace(string(Reference())))
	if !has(c, "gas_flow") || has(c, "filter_loading") || has(c, "filter_clean_mass") {
		t.Error("speed alone judges the filter")
	}
	if r := rule(t, c, "charcoal_time_caution"); r.Limit != 900 {
		t.Errorf("%+v", r)
	}
}

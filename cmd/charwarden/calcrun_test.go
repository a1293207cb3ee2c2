package main

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
)

// reckonRows runs calc with --json and returns what it prints, and the keys of
// its first object in the order in which they stand.
func reckonRows(t testing.TB, args ...string) (rows []map[string]*float64, keys []string) {
	t.Helper()
	var out, errw bytes.Buffer
	if code := dispatch(context.Background(), append(append([]string{"calc"}, args...), "--json"), strings.NewReader(""), &out, &errw); code != exitOK {
		t.Fatalf("calc %v: exit %d: %s", args, code, &errw)
	}
	if err := json.Unmarshal(out.Bytes(), &rows); err != nil || len(rows) == 0 {
		t.Fatalf("calc %v: %v in\n%s", args, err, &out)
	}
	d := json.NewDecoder(&out)
	for depth := 0; depth < 3; {
		tok, err := d.Token()
		if err != nil {
			t.Fatal(err)
		}
		if s, ok := tok.(string); ok {
			keys = append(keys, s)
			if _, err := d.Token(); err != nil {
				t.Fatal(err)
			}
		} else if tok == json.Delim('}') {
			depth = 3
		}
	}
	return rows, keys
}

// wantNear holds a number of the output against what it should be.
func wantNear(t testing.TB, row map[string]*float64, key, want string, tol float64) {
	t.Helper()
	w, err := strconv.ParseFloat(want, 64)
	if err != nil {
		t.Fatalf("%s: %v", key, err)
	}
	if v := row[key]; v == nil {
		t.Errorf("%s is null, want %s", key, want)
	} else if math.Abs(*v-w) > tol {
		t.Errorf("%s %.5f, want %s within %g", key, *v, want, tol)
	}
}

// dataRows reads a table of testdata/published, one map a row.
func dataRows(t testing.TB, name string) (rows []map[string]string) {
	t.Helper()
	f, err := os.Open("../../testdata/published/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	all, err := r.ReadAll()
	if err != nil || len(all) < 2 {
		t.Fatalf("%s: %d rows, %v", name, len(all), err)
	}
	for _, rec := range all[1:] {
		row := map[string]string{}
		for i, v := range rec {
			row[all[0][i]] = v
		}
		rows = append(rows, row)
	}
	return rows
}

// share is a percentage of a table as a fraction on a flag.
func share(percent string) string { return percent + "%" }

// The keys that scripts rely on, in order.
func TestCalcKeys(t *testing.T) {
	for _, c := range []struct{ args, keys string }{
		{"hearth", "return_fraction moisture_fraction heat_loss_fraction bed_exit_c oxidation_c co_percent_dry h2_percent_dry co2_percent_dry ch4_percent_dry n2_percent_dry h2o_percent_wet lhv_mj_per_nm3 yield_nm3_per_kg cold_gas_efficiency_percent air_per_gas mixture_kj_per_nm3"},
		{"hearth --sweep air-temp=0..100/2", "air_temp_c return_fraction moisture_fraction heat_loss_fraction bed_exit_c oxidation_c co_percent_dry h2_percent_dry co2_percent_dry ch4_percent_dry n2_percent_dry h2o_percent_wet lhv_mj_per_nm3 yield_nm3_per_kg cold_gas_efficiency_percent air_per_gas mixture_kj_per_nm3"},
		{"engine --displacement 420", "mixture_nm3_per_h gas_nm3_per_h charcoal_kg_per_h shaft_kw petrol_kw share_of_petrol"},
		{"fuel --mass 8 --use 2", "mass_kg heel_kg gas_nm3_per_h charcoal_kg_per_h hours burnt_kg left_kg hours_left"},
		{"cooldown --start 650 --tau 90", "start_c air_c tau_min minutes temp_c until_c minutes_until rows residual_k"},
		{"nozzle --bore 12.7 --flow 9", "gas_nm3_per_h suction_pa blast_nm3_per_h charcoal_kg_per_h velocity_m_per_s jet_m_per_s bore_mm discharge"},
		{"filter --clean-drop 125 --clean-flow 9 --flow 9", "flow_nm3_per_h velocity_m_per_s clean_drop_pa drop_pa cake_per_m loading_percent dew_point_c dew_margin_k rows slope_percent_per_kg intercept_percent kg_left kg_left_width hours_left"},
	} {
		_, keys := reckonRows(t, strings.Fields(c.args)...)
		if got := strings.Join(keys, " "); got != c.keys {
			t.Errorf("calc %s:\n got %s\nwant %s", c.args, got, c.keys)
		}
	}
}

// Every state of a second, independent implementation, through the flags.
func TestCalcHearthAgainstSecond(t *testing.T) {
	rows := dataRows(t, "hearth_grid.csv")
	if len(rows) < 50 {
		t.Fatalf("%d rows", len(rows))
	}
	for _, want := range rows {
		got, _ := reckonRows(t, "hearth", "--return", share(want["r_pct"]), "--moisture", share(want["moisture_pct"]), "--loss", share(want["q_pct"]))
		for _, c := range []struct {
			key, column string
			tol         float64
		}{
			{"bed_exit_c", "T_red_C", 0.5},
			{"oxidation_c", "T_ox_carbon_dissoc_C", 1.5},
			{"co_percent_dry", "CO_dry", 0.02},
			{"h2_percent_dry", "H2_dry", 0.02},
			{"co2_percent_dry", "CO2_dry", 0.02},
			{"ch4_percent_dry", "CH4_dry", 0.002},
			{"n2_percent_dry", "N2_dry", 0.02},
			{"h2o_percent_wet", "H2O_wet", 0.02},
			{"lhv_mj_per_nm3", "LHV_dry_MJ_Nm3", 0.005},
			{"yield_nm3_per_kg", "yield_dry_Nm3_kg", 0.005},
			{"cold_gas_efficiency_percent", "CGE_pct", 0.05},
			{"air_per_gas", "air_gas_ratio_dry", 0.001},
			{"mixture_kj_per_nm3", "Hmix_dry_kJ_Nm3", 2},
		} {
			wantNear(t, got[0], c.key, want[c.column], c.tol)
		}
	}
}

// Every engine on gas of a second, independent implementation.
func TestCalcEngineAgainstSecond(t *testing.T) {
	n := 0
	petrol := ""
	for _, want := range dataRows(t, "engine.csv") {
		if want["fuel"] == "petrol" {
			petrol = want["brake_kW"]
			continue
		}
		n++
		got, _ := reckonRows(t, "engine", "--displacement", want["engine_cm3"]+"cc", "--rpm", want["rpm"],
			"--return", share(want["r_pct"]), "--moisture", share(want["moisture_pct"]), "--loss", share(want["q_pct"]),
			"--manifold-pressure", want["manifold_kPa"]+"kPa", "--manifold-temp", want["manifold_C"],
			"--volumetric-efficiency", want["eta_v"], "--indicated-efficiency", want["eta_i"])
		wantNear(t, got[0], "mixture_nm3_per_h", want["mixture_Nm3_h"], 0.001)
		wantNear(t, got[0], "gas_nm3_per_h", want["gas_wet_Nm3_h"], 0.01)
		wantNear(t, got[0], "charcoal_kg_per_h", want["charcoal_kg_h"], 0.005)
		wantNear(t, got[0], "shaft_kw", want["brake_kW"], 0.01)
		wantNear(t, got[0], "petrol_kw", petrol, 0.005)
		wantNear(t, got[0], "share_of_petrol", want["brake_vs_petrol"], 0.001)
	}
	if n < 10 {
		t.Errorf("%d rows", n)
	}
}

// A unit on a flag is the same number without it.
func TestCalcUnits(t *testing.T) {
	for _, c := range [][2]string{
		{"hearth --return 0.15 --hhv 33 --air-temp 25 --pressure 100.6", "hearth --return 15% --hhv 33000kJ/kg --air-temp 77degF --pressure 1006hPa"},
		{"filter --clean-drop 1000 --clean-flow 9 --flow 9 --area 0.04", "filter --clean-drop 1kPa --clean-flow 2.5NL/s --flow 9Nm3/h --area 4dm2"},
		{"fuel --volume 40 --density 220 --use 2", "fuel --volume 0.04m3 --density 0.22kg/L --use 2000g/h"},
		{"nozzle --bore 12.7 --suction 520", "nozzle --bore 0.5in --suction 0.52kPa"},
		{"filter --k1 1.5e-8 --k2 2.4e-3 --thickness 50 --area 0.04 --flow 9", "filter --k1 1.5e-8m2 --k2 2.4mm --thickness 5cm --area 400cm2 --flow 9"},
	} {
		plain, _ := reckonRows(t, strings.Fields(c[0])...)
		units, _ := reckonRows(t, strings.Fields(c[1])...)
		for key, v := range plain[0] {
			w := units[0][key]
			if (v == nil) != (w == nil) || v != nil && math.Abs(*v-*w) > 1e-9*math.Abs(*v) {
				t.Errorf("calc %s: %s differs from %s", c[0], key, c[1])
			}
		}
	}
}

// Every flag that is a number can be swept, if its neighbours let it, and every
// answer has the swept number in it once.
func TestCalcSweepsAnyFlag(t *testing.T) {
	base := map[string]string{
		"hearth": "", "engine": "displacement=420", "fuel": "mass=8 use=2", "cooldown": "start=650 tau=90",
		"nozzle": "bore=12.7 flow=9", "filter": "k1=1.5e-8 thickness=50 area=0.04 k2=0.0024 flow=9 use=2",
	}
	around := map[string]string{
		"lambda": "1..1.2/2", "imposed-temp": "700..800/2", "rpm": "2000..3000/2", "hhv": "30..33/2", "carbon": "0.8..0.9/2",
		"humidity": "0..1/2", "pressure": "80..100/2", "manifold-pressure": "60..90/2", "displacement": "200..400/2",
		"volumetric-efficiency": "0.6..0.8/2", "indicated-efficiency": "0.2..0.3/2", "start": "300..600/2", "tau": "60..90/2", "until": "50..60/2",
		"full": "2..3/2", "k1": "1e-9..1e-8/2", "cake": "0..1e6/2", "clean-flow": "", "clean-drop": "", "point-flow": "", "point-suction": "",
		"discharge": "0.6..0.8/2", "bore": "10..12/2", "k2": "0.1..0.2/2", "volume": "", "density": "", "suction": "", "flow": "5..9/2",
	}
	for _, s := range sheets() {
		for _, k := range s.knobs {
			values, known := around[k.flag]
			if k.in == nil || known && values == "" {
				continue // its own tests
			}
			if !known || s.name == "fuel" && k.flag == "flow" {
				values = "0.01..0.02/2"
			}
			args := []string{s.name, "--sweep", k.flag + "=" + values}
			for _, b := range strings.Fields(base[s.name]) {
				flag, v, _ := strings.Cut(b, "=")
				if flag != k.flag && !(k.flag == "flow" && flag == "use" && s.name == "fuel") {
					args = append(args, "--"+flag, v)
				}
			}
			rows, keys := reckonRows(t, args...)
			n := 0
			for _, key := range keys {
				if key == k.key {
					n++
				}
			}
			if len(rows) != 2 || n != 1 || rows[0][k.key] == nil || *rows[0][k.key] == *rows[1][k.key] {
				t.Errorf("calc %v: %s %d times in %v", args, k.key, n, keys)
			}
		}
	}
}

// A sweep is the same as its points one by one, and ends exactly at its ends.
func TestCalcSweep(t *testing.T) {
	rows, _ := reckonRows(t, "hearth", "--sweep", "moisture=0%..15%/4", "--loss", "0.1")
	if len(rows) != 4 {
		t.Fatalf("%d rows", len(rows))
	}
	for i, at := range []string{"0", "0.05", "0.1", "0.15"} {
		one, _ := reckonRows(t, "hearth", "--moisture", at, "--loss", "0.1")
		for key, v := range one[0] {
			if got := rows[i][key]; math.Abs(*got-*v) > 1e-6*math.Abs(*v) {
				t.Errorf("at %s: %s %g, alone %g", at, key, *got, *v)
			}
		}
	}
	if *rows[0]["moisture_fraction"] != 0 || *rows[3]["moisture_fraction"] != 0.15 {
		t.Errorf("ends %g and %g", *rows[0]["moisture_fraction"], *rows[3]["moisture_fraction"])
	}
}

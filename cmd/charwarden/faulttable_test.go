package main

import (
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// faultsToCover are what must have a row in the table, whatever else has.
var faultsToCover = strings.Split(`MAX31855 absent,MAX31855 mute,MAX31855 lying,MAX31855 noisy,
thermocouple open,thermocouple reversed,thermocouple shorted,thermocouple leaking,
ADS1115 absent,ADS1115 mute,ADS1115 lying,ADS1115 noisy,ADC clock 10 % slow,ADC clock 10 % fast,
INA219 absent,INA219 mute,INA219 lying,INA219 noisy,
BMx280 absent,BMx280 mute,BMx280 lying,BMx280 noisy,
HX711 absent,HX711 mute,HX711 lying,HX711 noisy,
tacho absent,tacho mute,tacho lying,tacho noisy,
CO cell absent,CO cell mute,CO cell dead,CO cell clipped,CO cell drifting,CO cell noisy,
supply sag,bus hung for 1 s,bus hung for 60 s,bus hung for ever,
disk full,disk read-only,disk slow,disk removed,
broker gone,broker half-open,broker slow,broker refusing,broker flapping,
metrics client that never reads,clock jumps forward,clock jumps back,clock of 1970,
memory limit,SIGSTOP for 30 s,kill -9,power cut,
configuration wrong,hostile MQTT commands,hostile HTTP requests`, ",")

// The table of faults is whole: every row says all, every test that it names is
// there, every fault that we know has a row, and every trial is in it.
func TestFaultTable(t *testing.T) {
	const root = "../.."
	text, err := os.ReadFile(filepath.Join(root, "testdata", "faults.md"))
	if err != nil {
		t.Fatal(err)
	}
	named := make(map[string]bool) // tests
	rows := make(map[string]bool)
	for line := range strings.Lines(string(text)) {
		cells := strings.Split(strings.Trim(strings.TrimSpace(line), "|"), "|")
		if !strings.HasPrefix(line, "|") || strings.HasPrefix(line, "|---") || strings.HasPrefix(line, "| fault ") {
			continue
		}
		for i := range cells {
			cells[i] = strings.TrimSpace(cells[i])
		}
		if len(cells) != 5 || slices.Contains(cells, "") {
			t.Errorf("want five cells with something in each: %s", line)
			continue
		}
		if rows[cells[0]] {
			t.Errorf("%s has two rows", cells[0])
		}
		rows[cells[0]] = true
		for _, what := range strings.Split(cells[4], "; ") {
			named[what] = true
			if err := proves(root, what); err != "" {
				t.Errorf("%s: %s: %s", cells[0], what, err)
			}
		}
	}
	for _, fault := range faultsToCover {
		if !rows[strings.TrimSpace(fault)] {
			t.Errorf("no row for %s", fault)
		}
	}
	for test, trials := range map[string][]trial{"TestChipFaults": chipTrials(), "TestSensorFaults": sensorTrials()} {
		for _, x := range trials {
			if name := "cmd/charwarden " + test + "/" + strings.ReplaceAll(x.name, " ", "_"); !named[name] {
				t.Errorf("no row names %s", name)
			}
		}
	}
}

// proves says why a cell names no proof: "PACKAGE TestName", with "/subtest"
// where that is one of the trials, or a scenario's file.
func proves(root, what string) string {
	if strings.HasPrefix(what, "testdata/scenarios/") {
		if _, err := os.Stat(filepath.Join(root, what)); err != nil {
			return err.Error()
		}
		return ""
	}
	pkg, name, ok := strings.Cut(what, " ")
	name, sub, hasSub := strings.Cut(name, "/")
	if !ok {
		return "want PACKAGE TestName or a scenario"
	}
	files, err := filepath.Glob(filepath.Join(root, pkg, "*_test.go"))
	if err != nil || len(files) == 0 {
		return "no tests in that package"
	}
	is := regexp.MustCompile(`(?m)^func ` + regexp.QuoteMeta(name) + `\(t \*testing\.T\)`)
	found := slices.ContainsFunc(files, func(file string) bool {
		b, err := os.ReadFile(file)
		return err == nil && is.Match(b)
	})
	if !found {
		return "no such test"
	}
	if hasSub && !slices.ContainsFunc(append(chipTrials(), sensorTrials()...), func(x trial) bool { return strings.ReplaceAll(x.name, " ", "_") == sub }) {
		return "no such trial"
	}
	return ""
}

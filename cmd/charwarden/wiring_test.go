package main

import (
	"encoding/xml"
	"fmt"
	"io"
	"maps"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"charwarden/config"
	"charwarden/sensors"
)

const wiringDir = "../../deploy/"

// header40 is what the 40 pins of the header carry, from pin 1 on: a GPIO, or
// a supply. Public and the same on every board that has it; from memory.
var header40 = strings.Fields("3V3 5V GPIO2 5V GPIO3 0V GPIO4 GPIO14 0V GPIO15 GPIO17 GPIO18 GPIO27 0V GPIO22 GPIO23 3V3 GPIO24 GPIO10 0V " +
	"GPIO9 GPIO25 GPIO11 GPIO8 0V GPIO7 GPIO0 GPIO1 GPIO5 0V GPIO6 GPIO12 GPIO13 0V GPIO19 GPIO16 GPIO26 GPIO20 0V GPIO21")

func wiringText(t *testing.T, name string) string {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(wiringDir, name))
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// wiringRows are the rows of the guide's table under the heading that begins
// with the cells of head.
func wiringRows(t *testing.T, head ...string) (rows [][]string) {
	t.Helper()
	begin := "| " + strings.Join(head, " | ") + " |"
	_, after, found := strings.Cut(wiringText(t, "wiring.md"), begin)
	if !found {
		t.Fatalf("wiring.md has no table %s", begin)
	}
	for i, line := range strings.Split(after, "\n") {
		if i < 2 { // the rest of the heading, and the rule below it
			continue
		}
		if !strings.HasPrefix(line, "|") {
			break
		}
		cells := strings.Split(strings.Trim(line, "|"), "|")
		for j := range cells {
			cells[j] = strings.TrimSpace(cells[j])
		}
		rows = append(rows, cells)
	}
	return rows
}

// wholeReference is the reference rig with everything fitted that its file
// only shows: the scale and the run permit.
func wholeReference(t *testing.T) (*config.Config, string) {
	t.Helper()
	text := string(config.Reference())
	scale := regexp.MustCompile(`(?s)# \[\[scale\]\].*?\n\n`)
	text = scale.ReplaceAllStringFunc(text, func(s string) string { return strings.ReplaceAll("\n"+s, "\n# ", "\n") })
	text = strings.Replace(text, "# run_permit", "run_permit", 1)
	cfg, err := config.Parse("reference.toml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	if len(cfg.Scales) != 1 || cfg.Outputs.RunPermit == "" {
		t.Fatal("the reference file shows no scale or no run permit any more")
	}
	return cfg, text
}

// Every pin that the reference rig names stands in the guide and in the drawing
// of the header, at its place, and none is used twice.
func TestWiringPins(t *testing.T) {
	cfg, text := wholeReference(t)
	o := cfg.Outputs
	want := map[string]string{"horn": o.Horn, "lamp_red": o.LampRed, "lamp_yellow": o.LampYellow, "lamp_green": o.LampGreen,
		"watch_pulse": o.WatchPulse, "reset_button": o.ResetButton, "run_permit": o.RunPermit}
	for _, c := range cfg.Thermocouples {
		want[c.Channel+" select"] = c.Select
	}
	for _, c := range cfg.Tachos {
		want[c.Channel+" pin"] = c.Pin
	}
	for _, c := range cfg.Scales {
		want[c.Channel+" clock"], want[c.Channel+" data"] = c.Clock, c.Data
	}
	drawn := wiringText(t, "wiring/header.svg")
	got, seen := make(map[string]string), make(map[string]bool)
	for _, row := range wiringRows(t, "pin", "GPIO", "carries", "wire", "in rig.toml") {
		for pin := range strings.SplitSeq(row[0], ", ") {
			n, err := strconv.Atoi(pin)
			if err != nil || n < 1 || n > len(header40) {
				t.Fatalf("%q: the header has pins 1 to %d", pin, len(header40))
			}
			if seen[pin] {
				t.Errorf("pin %d is used twice", n)
			}
			seen[pin] = true
			is := header40[n-1]
			says := row[1]
			if says == "-" { // a supply: its voltage stands first
				says, _, _ = strings.Cut(strings.Replace(row[2], " V", "V", 1), " ")
				says = strings.TrimRight(strings.Replace(says, "3.3V", "3V3", 1), ";,")
			}
			if says != is {
				t.Errorf("pin %d is %s, the guide says %s", n, is, says)
			}
		}
		switch use := row[4]; {
		case use == "":
		case strings.Contains(use, "="):
			if !strings.Contains(text, use) {
				t.Errorf("pin %s: the reference file has no line %s", row[0], use)
			}
		default:
			got[use] = row[1]
		}
	}
	if !maps.Equal(got, want) {
		t.Errorf("the guide has %v\nthe file has %v", got, want)
	}
	for i, is := range header40 {
		label := regexp.MustCompile(fmt.Sprintf(`>%s[^<]*</text>\s*<text[^>]*>%d</text>`, strings.NewReplacer("3V3", "3.3 V", "5V", "5 V", "0V", "0 V").Replace(is)+`\b`, i+1))
		if !label.MatchString(drawn) {
			t.Errorf("header.svg: pin %d is not labelled %s", i+1, is)
		}
	}
	for use, pin := range want {
		word, what, _ := strings.Cut(use, " ")
		if (what == "select" || what == "pin") && !strings.Contains(drawn, ">"+pin+" "+word+"<") {
			t.Errorf("header.svg: %s does not carry %s", pin, word)
		}
	}
}

// Every table of the reference file that is wired, each input and address, and
// every fault word has its place.
func TestWiringSections(t *testing.T) {
	cfg, text := wholeReference(t)
	guide := wiringText(t, "wiring.md")
	tables := regexp.MustCompile(`(?m)^\[+(thermocouple|adc|pressure|co|tacho|supply|ambient|scale|outputs)\]+`).FindAllStringSubmatch(text, -1)
	if len(tables) < 14 {
		t.Errorf("the reference file has only %d tables of sensors", len(tables))
	}
	for _, table := range tables {
		if !regexp.MustCompile("(?m)^## .*`" + regexp.QuoteMeta(table[0]) + "`").MatchString(guide) {
			t.Errorf("no section is about %s", table[0])
		}
	}
	for _, s := range sensors.Statuses() {
		if s != sensors.Good && !slices.ContainsFunc(wiringRows(t, "word", "in a wire's terms"), func(row []string) bool { return strings.Contains(row[0], "`"+s.String()+"`") }) {
			t.Errorf("the fault %v is not explained", s)
		}
	}
	inputs := make(map[string]string)
	for _, row := range wiringRows(t, "input", "channel") {
		inputs[row[1]] = row[0]
	}
	delete(inputs, "-")
	want := make(map[string]string)
	for _, p := range cfg.Pressures {
		want[p.Channel] = p.Input.String()
	}
	for _, c := range cfg.COs {
		want[c.Channel] = c.Input.String()
	}
	if !maps.Equal(inputs, want) {
		t.Errorf("the guide has %v\nthe file has %v", inputs, want)
	}
	chips := make(map[string]string)
	for _, row := range wiringRows(t, "chip", "address", "set by") {
		chips[row[0]] = row[1]
		if drawn := wiringText(t, "wiring/i2c.svg"); !regexp.MustCompile(row[0] + `</text>\s*<text[^>]*>` + row[1]).MatchString(drawn) {
			t.Errorf("i2c.svg: %s is not at %s", row[0], row[1])
		}
	}
	hex := func(a uint16) string { return fmt.Sprintf("0x%02x", a) }
	if addresses := map[string]string{"ADS1115": hex(cfg.ADCs[0].Address), "INA219": hex(cfg.Supplies[0].Address), "BME280": hex(cfg.Ambients[0].Address)}; !maps.Equal(chips, addresses) {
		t.Errorf("the guide has %v\nthe file has %v", chips, addresses)
	}
}

// Every drawing is sound XML with a title and a description, is shown by the
// guide, and can be read on a phone 390 px wide (360 px beside its margins).
func TestWiringDrawings(t *testing.T) {
	guide := wiringText(t, "wiring.md")
	files, err := filepath.Glob(wiringDir + "wiring/*.svg")
	if err != nil || len(files) == 0 {
		t.Fatalf("no drawings: %v", err)
	}
	var shown []string
	for _, m := range regexp.MustCompile(`!\[([^\]]+)\]\((wiring/[^)]+)\)`).FindAllStringSubmatch(guide, -1) {
		shown = append(shown, m[2])
	}
	for _, file := range files {
		name := "wiring/" + filepath.Base(file)
		if !slices.Contains(shown, name) {
			t.Errorf("%s: the guide does not show it", name)
		}
	}
	for _, name := range shown {
		drawing := wiringText(t, name)
		words := make(map[string]string) // the text of the elements that matter
		var width float64
		var in string
		d := xml.NewDecoder(strings.NewReader(drawing))
		for {
			token, err := d.Token()
			if err == io.EOF {
				break
			}
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			switch e := token.(type) {
			case xml.StartElement:
				in = e.Name.Local
				for _, a := range e.Attr {
					if in == "svg" && a.Name.Local == "viewBox" {
						fmt.Sscanf(a.Value, "0 0 %f", &width)
					}
				}
			case xml.CharData:
				words[in] += strings.TrimSpace(string(e))
			}
		}
		if words["title"] == "" || words["desc"] == "" || words["text"] == "" || width == 0 {
			t.Errorf("%s: title, desc, text and viewBox are wanted", name)
		}
		sizes := regexp.MustCompile(`font[^;]*?([0-9.]+)px|font-size="([0-9.]+)`).FindAllStringSubmatch(drawing, -1)
		if len(sizes) == 0 {
			t.Errorf("%s: the size of its text is not stated", name)
		}
		for _, size := range sizes {
			if px, _ := strconv.ParseFloat(size[1]+size[2], 64); px*360/width < 11 {
				t.Errorf("%s: text of %v in %v: %.1f px on a phone", name, px, width, px*360/width)
			}
		}
	}
}

// The printed resistors make the divider of the reference file, keep the
// converter's input below its supply and do not overload the sensor.
func TestWiringDivider(t *testing.T) {
	cfg, _ := wholeReference(t)
	m := regexp.MustCompile(`([0-9]+) / \(([0-9]+) \+ ([0-9]+)\) = ([0-9.]+)`).FindStringSubmatch(wiringText(t, "wiring.md"))
	if m == nil {
		t.Fatal("the guide reckons no divider")
	}
	var v [5]float64
	for i := 1; i < len(v); i++ {
		v[i], _ = strconv.ParseFloat(m[i], 64)
	}
	low, high := v[1], v[2]
	for _, p := range cfg.Pressures {
		if ratio := low / (low + high); low != v[3] || math.Abs(ratio-p.Divider) > 1e-9 || math.Abs(v[4]-p.Divider) > 1e-9 {
			t.Errorf("%s: divider %v, the guide's %s and %.4f", p.Channel, p.Divider, m[0], ratio)
		}
		if top := p.Law.MaxV * low * 1.01 / (low*1.01 + high*0.99); top > cfg.ADCs[0].VDD {
			t.Errorf("%s: %.2f V at the converter, above its %.2f V", p.Channel, top, cfg.ADCs[0].VDD)
		}
		// Output source current at full scale, MPX5010 Rev 2, Operating
		// characteristics: 0.1 mA.
		if mA := p.Law.Volts(p.Law.HiPa, p.Law.NominalV) / (low + high); mA > 0.1 {
			t.Errorf("%s: the divider draws %.2f mA from the sensor", p.Channel, mA)
		}
	}
	for _, k := range []string{m[2] + " k<", m[1] + " k<"} {
		if n := strings.Count(wiringText(t, "wiring/adc.svg"), ">"+k); n != len(cfg.Pressures) {
			t.Errorf("adc.svg: %q stands there %d times", k, n)
		}
	}
}

// pump is the pulse detector in ohm and farad.
type pump struct{ r3, r4, r5, r11, c4, c23, r6, r7, r8, r9, r10 float64 }

// play steps the circuit through n ticks of pulses, after which the pin stays.
// Diodes have a fixed drop. It returns how long after the last edge the relay
// drops (Inf: not within 4 s, 0: it never was on).
func (p pump) play(n int, tick, supply, diode, low float64) float64 {
	const (
		dt        = 0.2e-3
		saturated = 0.1  // V left at T1
		forward   = 10.0 // ohm of a diode beyond its drop
	)
	threshold := func(r8, to float64) float64 {
		return (supply/p.r6 + to/r8) / (1/p.r6 + 1/p.r7 + 1/r8)
	}
	release, pull := threshold(p.r8, low), threshold(p.r8+p.r9+p.r10, supply)
	v23, v4, on, edge := 0.0, 0.0, false, float64(n-1)*tick
	for i := range int((edge + 4) / dt) {
		now := float64(i) * dt
		from, through := supply, p.r3+p.r4 // pin low: T1 off
		if min(int(now/tick+1e-9), n-1)%2 == 0 {
			from, through = saturated, p.r4
		}
		// The node behind C2 and C3: blocked, then with D2 or D1.
		v := (from - v23) / through / (1/through + 1/p.r11)
		into := 0.0
		if v > v4+diode {
			v = ((from-v23)/through + (v4+diode)/forward) / (1/through + 1/p.r11 + 1/forward)
			into = (v - v4 - diode) / forward
		} else if v < -diode {
			v = ((from-v23)/through - diode/forward) / (1/through + 1/p.r11 + 1/forward)
		}
		v23 += (from - v23 - v) / through * dt / p.c23
		v4 += (into - v4/p.r5) * dt / p.c4
		switch {
		case !on && v4 > pull:
			on = true
		case on && v4 < release:
			return now - edge
		}
	}
	if on {
		return math.Inf(1)
	}
	return 0
}

// off is the voltage across T2's base and emitter that the feedback leaves while
// the comparator is off.
func (p pump) off(supply float64) float64 {
	tail := p.r8 + p.r9 + p.r10
	node := (supply/p.r6 + supply/tail) / (1/p.r6 + 1/p.r7 + 1/tail)
	return (supply - node) / tail * p.r10
}

// The watch and the permit bear 0.5 s without an edge and let go within 1 s,
// whatever level is left on the pin, with every part at any end of its
// tolerance, by the values that the guide and its drawing print. One edge alone
// pulls nothing.
func TestWiringDropOut(t *testing.T) {
	cfg, _ := wholeReference(t)
	unit := map[string]float64{"k": 1e3, "µF": 1e-6, "Ω": 1}
	drawn := wiringText(t, "wiring/pulse-detector.svg")
	value, tolerance := make(map[string]float64), make(map[string]float64)
	for _, row := range wiringRows(t, "part", "value", "tolerance", "does") {
		m := regexp.MustCompile(`^([0-9.]+) (k|µF|Ω)$`).FindStringSubmatch(row[1])
		if m == nil {
			continue // a part that is no resistor or capacitor
		}
		x, _ := strconv.ParseFloat(m[1], 64)
		percent, err := strconv.ParseFloat(strings.TrimSuffix(row[2], " %"), 64)
		if err != nil {
			t.Fatalf("%s: tolerance %q", row[0], row[2])
		}
		value[row[0]], tolerance[row[0]] = x*unit[m[2]], percent/100
		if !regexp.MustCompile(`[ >]` + regexp.QuoteMeta(row[0]+" "+row[1]) + `[ ,<]`).MatchString(drawn) {
			t.Errorf("pulse-detector.svg does not say %s %s", row[0], row[1])
		}
	}
	tick := cfg.Tick.Seconds()
	const relay = 0.020 // s, a relay of this size with a diode across its coil; from memory
	const train = 40    // ticks: four seconds are more than three time constants
	shortest, longest := math.Inf(1), math.Inf(-1)
	// Of what moves the threshold, and of what moves the share of a charge, the
	// two ends; of everything else every corner.
	for corner := range 1 << 4 {
		end := func(bit int) float64 { return float64(corner>>bit&1*2 - 1) }
		at := func(part string, end float64) float64 { return value[part] * (1 + tolerance[part]*end) }
		c23 := 1 / (1/at("C2", end(2)) + 1/at("C3", end(2)))
		p := pump{at("R3", 0), at("R4", 0), at("R5", end(0)), at("R11", end(2)), at("C4", end(1)), c23,
			at("R6", end(3)), at("R7", -end(3)), at("R8", -end(3)), at("R9", 0), at("R10", 0)}
		for _, supply := range []float64{10.5, 14.8} {
			if v := p.off(supply); v > 0.35 { // a hot transistor begins to conduct; from memory
				t.Errorf("%+v at %v V: the feedback leaves %.2f V at T2, which holds the relay", p, supply, v)
			}
			for _, diode := range []float64{0.25, 0.65} { // 1N4148 at some 10 µA, hot and in frost; from memory
				for _, low := range []float64{0, 0.4} { // LM393 at 4 mA; from memory
					for _, n := range []int{train, train + 1} { // left low, left high
						drop := p.play(n, tick, supply, diode, low)
						shortest, longest = min(shortest, drop), max(longest, drop)
					}
					if drop := p.play(2, tick, supply, diode, low); drop != 0 {
						t.Errorf("%+v at %v V: one edge alone pulls the relay", p, supply)
					}
				}
			}
		}
	}
	t.Logf("drops %.3f to %.3f s after the last edge", shortest, longest)
	if !(shortest >= 0.5) || !(longest <= 1-relay) {
		t.Errorf("drops %.3f to %.3f s after the last edge, want 0.5 to %.3f", shortest, longest, 1-relay)
	}
	if says := fmt.Sprintf("%.2f to %.2f s", shortest, longest); !strings.Contains(wiringText(t, "wiring.md"), says) {
		t.Errorf("the guide does not say %s", says)
	}
}

package sim

import "time"

// DayPlan is a day at the irrigation pump: 6 h of work with a step of load
// every 10 to 30 min and two refuellings, stopped and sealed at 6 h, cooling
// until 14 h. The filter starts clean and is loaded to about 2.6 times its clean
// resistance, 80 % of the way to three times. Invented.
func DayPlan() Plan {
	h := func(hours, minutes, seconds float64) time.Duration {
		return time.Duration(hours*3600+minutes*60+seconds) * time.Second
	}
	p := Plan{Charcoal: 6, Moisture: 0.06, Hopper: 8, Dust: 0.31e-3, StartDust: 1e-6}
	for _, a := range DefaultPlan().Acts {
		if a.At < h(0, 40, 0) {
			p.Acts = append(p.Acts, a)
		}
	}
	load := func(at time.Duration, watts, back float64, text string) {
		p.Acts = append(p.Acts, Act{at, Load, watts, text}, Act{at + time.Minute, Return, back, ""})
	}
	fill := func(at time.Duration, kg, watts float64) {
		p.Acts = append(p.Acts,
			Act{at - 2*time.Minute, Load, 300, "pump throttled for the refuelling"},
			Act{at, Fill, kg, "lid off, charcoal in, lid on: from upwind"},
			Act{at + 3*time.Minute, Load, watts, "pump open again"})
	}
	load(h(0, 40, 0), 1900, 0.55, "third line open: full load")
	load(h(0, 58, 0), 1500, 0.45, "third line closed")
	load(h(1, 20, 0), 1100, 0.4, "second line closed half")
	load(h(1, 40, 0), 1700, 0.5, "second line open")
	fill(h(2, 0, 0), 3.5, 1700)
	load(h(2, 25, 0), 1300, 0.45, "third line moved: less water")
	load(h(2, 50, 0), 1800, 0.5, "three lines open")
	load(h(3, 15, 0), 1000, 0.4, "one line closed")
	load(h(3, 35, 0), 1600, 0.5, "two lines and a half")
	fill(h(4, 0, 0), 3.2, 1600)
	load(h(4, 20, 0), 1900, 0.55, "full load")
	load(h(4, 45, 0), 1400, 0.45, "third line closed")
	load(h(5, 10, 0), 1700, 0.5, "second line open")
	load(h(5, 30, 0), 1200, 0.4, "tank nearly full")
	load(h(5, 50, 0), 900, 0.4, "second line closed")
	p.Acts = append(p.Acts,
		Act{h(5, 58, 0), Load, 0, "pump unloaded, engine idles down"},
		Act{h(6, 0, 0), Engine, 0, "engine stopped"},
		Act{h(6, 0, 5), Seal, 1, "nozzle capped, return and gas outlet shut"},
		Act{h(14, 0, 0), Word, 0, "the next look at it: cold"})
	return p
}

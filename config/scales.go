package config

import (
	"slices"
	"time"

	"charwarden/sensors"
)

// Scale is a load cell under the hopper, on an HX711.
type Scale struct {
	Channel     string
	Clock, Data string // pins
	Input       sensors.Bridge
	Zero        float64 // counts of the empty hopper
	PerKilogram float64 // counts; below 0 where the cell is wired the other way
	FullScale   float64 // kg
	Every       time.Duration
}

// bridgeWords are the inputs of an HX711 with their gains, in sensors.Bridge's order.
var bridgeWords = []string{"A128", "B32", "A64"}

// maxCount is the end of the HX711's 24 bits (data sheet, "Serial Interface").
const maxCount = 1<<23 - 1

func (f *file) scales(c *Config) {
	for _, t := range f.tables("scale") {
		t.require("clock", "data", "per_kg", "full_scale")
		// The chip converts 10 times a second.
		ch := t.channel(sensors.Mass, time.Second, 200*time.Millisecond)
		k := Scale{Channel: ch.Name, Clock: t.pin("clock"), Data: t.pin("data"), Every: ch.Period}
		k.Input = sensors.Bridge(slices.Index(bridgeWords, t.word("input", bridgeWords...)))
		k.Zero = t.number("zero", 0, -maxCount, maxCount)
		k.PerKilogram = t.number("per_kg", 0, -maxCount, maxCount)
		if t.has("per_kg") && k.PerKilogram == 0 {
			t.fail("per_kg", "0: the counts that one kilogram adds are wanted")
		}
		k.FullScale = t.within("full_scale", mass, 0, 0.5, 1000)
		added := t.add("channel", ch, -k.FullScale/10, k.FullScale, "")
		f.roles["scale"] = append(f.roles["scale"], added)
		t.done()
		c.Scales = append(c.Scales, k)
	}
}

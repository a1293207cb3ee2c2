package dashboards

import (
	"strings"

	"github.com/grafana/grafana-foundation-sdk/go/units"
)

// Units that Grafana has no word for; it writes what follows the colon behind
// the number.
const (
	nm3PerHour   = "suffix:Nm³/h"
	kgPerHour    = "suffix:kg/h"
	kgPerKWh     = "suffix:kg/kWh"
	mjPerNm3     = "suffix:MJ/Nm³"
	paPerMinute  = "suffix:Pa/min"
	percentPerKg = "suffix:%/kg"
)

// unitBySuffix is Grafana's unit for each ending of a metric's name; of two that
// fit the longer one counts.
var unitBySuffix = map[string]string{
	"_celsius":            units.Celsius,
	"_kelvins":            units.Kelvin,
	"_pascals":            units.Pascals,
	"_pascals_per_minute": paPerMinute,
	"_ppm":                units.PartsPerMillion,
	"_rpm":                units.RevolutionsPerMinute,
	"_volts":              units.Volt,
	"_watts":              units.Watt,
	"_seconds":            units.Seconds,
	"_percent":            units.Percent,
	"_ratio":              units.PercentUnit,
	"_kilograms":          units.Kilogram,
	"_kilograms_per_hour": kgPerHour,
	"_nm3_per_hour":       nm3PerHour,
	"_megajoules_per_nm3": mjPerNm3,
	"_millimeters":        units.Millimeter,
	"_bytes":              units.BytesSI,
}

// unitOf returns the unit of a metric: a plain number if its name has none.
func unitOf(metric string) string {
	unit, length := units.Number, 0
	for suffix, u := range unitBySuffix {
		if strings.HasSuffix(metric, suffix) && len(suffix) > length {
			unit, length = u, len(suffix)
		}
	}
	return unit
}

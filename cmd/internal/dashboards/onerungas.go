package dashboards

import (
	"charwarden/alarms"
	"charwarden/cmd/internal/names"
)

func gasAndFilter() []panel {
	filterIn := append(alarms.GasRules("filter_in"), alarms.FilterFireRule("filter_out", "filter_in"))
	return []panel{
		{title: "Gas at the hearth and the exhaust return", draw: lines, unit: unitOf(names.TemperatureCelsius),
			look:    "Gas as it leaves the hearth, the exhaust led back, and what the bed's exit is reckoned to be. Gas above 400 degC: hopper nearly empty or a hollow above the fire. A cold return: its valve is shut.",
			queries: []query{{value(names.TemperatureCelsius, channels("gas_out", "return_line", "bed_exit")), "{{channel}}"}},
			limits:  limits("gas_out", alarms.GasOutRule("gas_out"))},
		{title: "Gas at the filter", draw: lines, unit: unitOf(names.TemperatureCelsius),
			look:    "Bands: caution, alarm and stop of the gas before the filter. Behind the filter hotter than before it means fire in the filter.",
			queries: []query{{top(names.TemperatureCelsius, channels("filter_in", "filter_out")), "{{channel}}"}},
			limits:  limits("filter_in", filterIn...)},
		{title: "Pressure drop of the filter", draw: lines, unit: unitOf(names.PressurePascals),
			look:    "Rises with the load too: compare at equal gas flow, or look at the loading. A rise within minutes is water, not dust.",
			queries: []query{{value(names.PressurePascals, channels("filter_drop")), "{{channel}}"}},
			limits:  limits("filter_drop", alarms.FilterDropRules("filter_drop")...)},
		{title: "Loading of the filter", draw: lines, unit: unitOf(names.LoadingPercent),
			look:    "Dust at equal flow: 0 is clean, 50 is due, 100 is clogged, below -15 gas goes past the filter.",
			queries: []query{{value(names.LoadingPercent, channels("filter_loading")), "{{channel}}"}},
			limits:  limits("filter_loading", alarms.FilterLoadingRules("filter_loading", "suction", 0)...)},
		{title: "Suction in the hearth", draw: lines, unit: unitOf(names.PressurePascals),
			look:    "Follows the load. Rising at the same load: nozzle, bed or grate is blocking. Falling while the engine runs: lid, leak or filter.",
			queries: []query{{value(names.PressurePascals, channels("suction")), "{{channel}}"}}},
		{title: "Gas flow", draw: lines, unit: unitOf(names.GasFlowNm3PerHour),
			look:    "Wet gas at 0 degC and 101.325 kPa, from nozzle and engine.",
			queries: []query{{value(names.GasFlowNm3PerHour), "{{channel}}"}}},
		{title: "Filter above the dew point", draw: lines, unit: unitOf(names.DifferenceKelvins),
			look:    "How much warmer the filter's inlet is than the dew point of its gas. Below 0 water settles in the filter.",
			queries: []query{{value(names.DifferenceKelvins, channels("filter_dew_margin")), "{{channel}}"}},
			limits:  limits("filter_dew_margin", alarms.DewRule("filter_dew_margin"))},
		{title: "Heat in the gas", draw: lines, unit: unitOf(names.HeatMJPerNm3),
			look:    "Reckoned from charcoal, return and loss at equilibrium: a best case. A fall with the engine losing power means wet charcoal or too much return.",
			queries: []query{{value(names.HeatMJPerNm3, channels("gas_heat")), "{{channel}}"}}},
	}
}

func monoxide() []panel {
	co, dose := alarms.CORules("co"), alarms.ExposureRules("co")
	return []panel{
		{title: "Carbon monoxide where the operator stands", draw: lines, width: 24, high: 9, unit: unitOf(names.COPpm),
			look:    "Highest value in each step. Bands: caution 25, alarm 100, evacuate 200 ppm. A gap means that nobody watched the air, or that there was more than the cell can show: see which alarms stood. Look for what was being done when it rose: lighting, refuelling, after the stop.",
			queries: []query{{top(names.COPpm), "{{channel}}"}},
			limits:  limits("co", co...)},
		{title: "Carbon monoxide over 5 and 15 minutes", draw: lines, width: 8, unit: unitOf(names.COMeanPpm),
			look:    "Means that the short-term limits are written in: 100 ppm.",
			queries: []query{{value(names.COMeanPpm, channels(".+_mean_5min", ".+_stel_15min")), "{{channel}}"}},
			limits:  limits("co_stel_15min", dose...)},
		{title: "Carbon monoxide over the working day", draw: lines, width: 8, unit: unitOf(names.COMeanPpm),
			look:    "The day's dose spread over 8 hours; the limit is 20 ppm. It never falls within a day.",
			queries: []query{{value(names.COMeanPpm, channels(".+_twa_8h")), "{{channel}}"}},
			limits:  limits("co_twa_8h", dose...)},
		{title: "Carbon monoxide in the blood, estimated", draw: lines, width: 8, unit: unitOf(names.COHbPercent),
			look:    "A model, not a blood test: good to 30 % of its value at best. Bands: caution 2.5, alarm 5, evacuate 10. It falls for hours after the gas is gone.",
			queries: []query{{value(names.COHbPercent), "{{channel}}"}},
			limits:  limits("co_cohb_linear", dose...)},
	}
}

func engine() []panel {
	return []panel{
		{title: "Engine speed", draw: lines, unit: unitOf(names.SpeedRpm),
			look:    "Hunting up and down means unsteady gas; a slow fall at the same throttle means weak gas or a clogging filter.",
			queries: []query{{value(names.SpeedRpm), "{{channel}}"}}},
		{title: "Shaft power", draw: lines, unit: unitOf(names.PowerWatts),
			look:    "Reckoned from gas flow, its heat and the engine's friction; not measured.",
			queries: []query{{value(names.PowerWatts, channels("shaft_power")), "{{channel}}"}}},
		{title: "Charcoal burnt in an hour", draw: lines, unit: unitOf(names.MassFlowKgPerHour),
			look:    "Counted by the carbon in the gas. More at the same load than in other runs: wet or poor charcoal, or false air.",
			queries: []query{{value(names.MassFlowKgPerHour, channels("charcoal_flow")), "{{channel}}"}}},
		{title: "Charcoal burnt and left", draw: lines, unit: unitOf(names.MassKilograms),
			look:    "Burnt in all, and what is left by what was filled in. Refuel above the heel: less lets hot gas through to hose and filter.",
			queries: []query{{value(names.MassKilograms, channels("charcoal_burnt", "charcoal_left", "hopper")), "{{channel}}"}}},
		{title: "Time until refuelling", draw: lines, unit: unitOf(names.AgeSeconds),
			look:    "At the present rate, down to the heel. Caution at 15 minutes.",
			queries: []query{{value(names.AgeSeconds, channels("charcoal_time")), "{{channel}}"}},
			limits:  limits("charcoal_time", alarms.RefuelRule("charcoal_time"))},
		{title: "Charcoal until the filter is due", draw: lines, unit: unitOf(names.MassKilograms),
			look:    "From the trend of the loading per kilogram. A fall that is faster than the charcoal burns means dusty charcoal.",
			queries: []query{{value(names.MassKilograms, channels("filter_clean_mass")), "{{channel}}"}}},
	}
}

func afterStop() []panel {
	return []panel{
		{title: "Time constant of the cool-down", draw: lines, width: 8, unit: unitOf(names.AgeSeconds),
			look:    "How slowly the sealed rig cools. Longer than in other runs: air gets in and the bed burns on.",
			queries: []query{{value(names.AgeSeconds, channels("cooldown_tau")), "{{channel}}"}}},
		{title: "Seals against their best", draw: lines, width: 8, unit: unitOf(names.Ratio),
			look:    "How the sealed rig cools against its own best run; 100 % is as good. A fall means a seal is wearing.",
			queries: []query{{value(names.Ratio, channels("seal_health")), "{{channel}}"}},
			limits:  limits("seal_health", alarms.SealRule("seal_health"))},
		{title: "Hotter than its own cooling curve", draw: lines, width: 8, unit: unitOf(names.DifferenceKelvins),
			look:    "A sealed rig only cools. Alarm at 15 K: it burns, so air gets in. Nobody opens it to look.",
			queries: []query{{value(names.DifferenceKelvins, channels("reignition")), "{{channel}}"}},
			limits:  limits("reignition", alarms.ReignitionRule("reignition"))},
	}
}

package alarms

import "time"

// When a carbon monoxide alarm that was acknowledged calls again: alarms for
// homes sound again about 4 min after they were silenced, and within 6 min
// (makers' manuals); evacuate's 60 s are those of the temporal-4 signal after
// its first 4 min (manuals, second hand).
const (
	alarmAgain    = 4 * time.Minute
	evacuateAgain = 60 * time.Second
)

// toxic begins a rule on carbon monoxide, which clears at 80 % of its limit
// for 60 s (own choice) and is not delayed.
func toxic(ch, what string, p Priority, limit float64) Rule {
	r := built(ch, what, Above, p, limit, limit/5)
	r.OffDelay = 60 * time.Second
	switch {
	case p == Evacuate:
		r.ReAlarm, r.Latch, r.Stops, r.Never, r.Hazard = evacuateAgain, true, true, true, Gas
	case p == High:
		r.ReAlarm, r.Hazard = alarmAgain, Gas
	}
	return r
}

// CORules are the levels of a carbon monoxide channel in ppm. 25 ppm is the
// ACGIH TLV (8 h), 100 ppm the EU short-term limit (15 min, (EU) 2017/164),
// 200 ppm the NIOSH ceiling; acting on them at once instead of after their
// averaging time is our own, cautious choice. Only the caution, which asks for
// no flight, is delayed.
func CORules(ch string) []Rule {
	caution := toxic(ch, "caution", Caution, 25)
	caution.OnDelay = 60 * time.Second
	caution.Means = "There is carbon monoxide in the air at the rig."
	caution.DoFirst = "Step back upwind and stay there. Look for the leak only when the air is proved clear."

	alarm := toxic(ch, "alarm", High, 100)
	alarm.Means = "The air at the rig holds a dangerous amount of carbon monoxide."
	alarm.DoFirst = leaveNow + " When the air is proved clear, find the leak and close it before the next run."

	evacuate := toxic(ch, "evacuate", Evacuate, 200)
	evacuate.Means = "The air at the rig is poisonous with carbon monoxide, and there may be far more than the cell can show."
	evacuate.DoFirst = leaveNow + " When the air is proved clear, close the nozzle and every opening. " + fireBurns
	return []Rule{caution, alarm, evacuate}
}

// ExposureRules are the levels of what a person beside a carbon monoxide
// channel has taken in, on the channels derived from it. Averages in ppm: 100
// over 15 min and 20 over 8 h are the EU limits ((EU) 2017/164); 100 over 5 min
// is own choice, half of the NIOSH ceiling as OSHA measures it (method ID-209).
//
// COHb in percent, by the linear model, which reads high: WHO Europe's
// guidelines for air aim at 2.5 at most; UL 2034 has an alarm sound before
// about 10; 5 between the two is own choice. The non-linear estimate is for
// showing only and raises nothing.
func ExposureRules(ch string) []Rule {
	mean := toxic(ch+"_mean_5min", "alarm", High, 100)
	mean.Means = "The air held a dangerous amount of carbon monoxide over the last 5 minutes, even if it comes and goes."
	mean.DoFirst = leaveNow + " When the air is proved clear, find out where the gas comes from before the next run."

	stel := toxic(ch+"_stel_15min", "alarm", High, 100)
	stel.Means = "You have breathed as much carbon monoxide in 15 minutes as a worker may."
	stel.DoFirst = leaveNow + " When the air is proved clear, wait an hour before you work at the rig again."

	day := toxic(ch+"_twa_8h", "caution", Caution, 20)
	day.Means = "You have breathed as much carbon monoxide today as a worker may in a day."
	day.DoFirst = "Shut the rig down in the usual order and end the day here, or let somebody rested take over upwind."

	blood := ch + "_cohb_linear"
	caution := toxic(blood, "caution", Caution, 2.5)
	caution.Means = "By estimate, your blood has begun to take up carbon monoxide; this is no blood test."
	caution.DoFirst = "Step back upwind and breathe clean air. Look for the leak only when the air is proved clear."

	alarm := toxic(blood, "alarm", High, 5)
	alarm.Means = "By estimate, your blood holds enough carbon monoxide to harm a weak heart or a child; this is no blood test."
	alarm.DoFirst = leaveNow + " When the air is proved clear, let somebody else shut the rig down; with a headache, see a doctor."

	evacuate := toxic(blood, "evacuate", Evacuate, 10)
	evacuate.Means = "By estimate, carbon monoxide is poisoning you, whether you feel it or not; this is no blood test."
	evacuate.DoFirst = leaveNow + " When the air is proved clear, somebody else may close the rig: you call a doctor. " + fireBurns
	return []Rule{mean, stel, day, caution, alarm, evacuate}
}

# part wall: a wall from 20 to 700 degC, a second daemon beside it, the orders of a person at the rig

part_wall() {
	watching
	wall
	orders
}

# The daemon has the board: who else comes is told so, `check` asks the daemon.
second() {
	local out
	out=$(rigger "charwarden run -c $toml")
	has 'a second run says who has the board' "process $(pid) \(charwarden\) watches this rig already" "$out"
	has 'a second run: exit 1' '^exit 1$' "$out"
	out=$(rigger "charwarden check -c $toml")
	has 'check asks the daemon: exit 0' '^exit 0$' "$out"
	if [ "$(columns "$out")" = "$direct" ]; then ok 'check asks the daemon: the same rows'; else
		fail 'check asks the daemon: other rows than from the chips:'; diff <(echo "$direct") <(columns "$out") | sed 's/^/     /'
	fi
}

# 20 to 700 degC in 120 s: 480, 540, 600 and 650 degC are passed at 81, 92, 102
# and 111 s; each alarm waits 3 s more.
wall() {
	local at kind ch next=(caution alarm stop) i=0 s v w quiet
	since 'chips tc 0 temp 20..700/120'
	second
	for at in 20 50; do
		sleep "$(awk -v t="$(passes "$h0")" -v a=$at 'BEGIN { print (a > t) ? a - t : 0 }')"
		s=$(passes "$h0") v=$(sample 'charwarden_temperature_celsius{channel="wall_near"}' "$(page)")
		w=$(awk -v s="$s" 'BEGIN { print 20 + 680 * s / 120 }')
		# 25 degC for 2 s of delay on the way, and for the couple's curve.
		if near "$v" "$w" 25; then ok "the wall follows: $v degC at $s s"; else fail "the wall does not follow: '$v' degC at $s s, not $w"; fi
	done
	for kind in notice caution alarm stop; do
		hears "wall_near_$kind" 130 "$(alarm wall_near_$kind unacknowledged)"
		shows "wall_near_$kind" 135 "$(standing wall_near_$kind)"
		[ $i = 3 ] || hides "wall_near_${next[i]} not before its time" "$(standing "wall_near_${next[i]}")"
		i=$((i + 1))
	done
	hears 'the line for people' 140 'charwarden/pump/notify ALARM wall_near_stop: .*ack: wall_near_stop [0-9]+$'
	quiet=$(page) # nobody has acknowledged: normal means that it never stood
	for ch in $channels; do has "no fault of $ch on the way" "alarm=\"${ch}_fault\",.*state=\"normal\"\} 1" "$quiet"; done
}

# The wall has come to stop; it cools, and a person at the rig puts it right.
orders() {
	local out name
	beats 'stop: the watch pulse goes on' $pulse
	rests 'stop: the run permit has no pulse' true 1 $permit
	sounds 'stop: the horn'
	out=$(rigger 'charwarden alarms')
	has 'alarms: lists wall_near_stop' '^wall_near_stop +alarm +unacknowledged ' "$out"
	has 'alarms: says why the permit is lost' '^run permit: dropped: tripped by wall_near_stop: ' "$out"
	has 'alarms: exit 1 while one stands' '^exit 1$' "$out"
	out=$(rigger 'charwarden reset permit')
	has 'reset permit: refused before the acknowledgement' 'wall_near_stop is [a-z]+: ' "$out"
	has 'reset permit: refused: exit 1' '^exit 1$' "$out"
	out=$(rigger 'charwarden silence')
	has 'silence: exit 0' '^exit 0$' "$out"
	rests 'silence: the horn' true 6 $horn
	since 'chips tc 0 temp 100'
	for name in stop notice; do hears "wall_near_$name: the condition is gone" 90 "$(alarm wall_near_$name '(returned|latched)')"; done
	for name in $(rigger 'charwarden alarms' | awk '/^wall_near_/ { print $1 }'); do
		has "ack $name" "^$name: now (normal|acknowledged|latched_acknowledged)\$" "$(rigger "charwarden ack $name")"
	done
	has 'reset wall_near_stop' '^wall_near_stop: now normal$' "$(rigger 'charwarden reset wall_near_stop')"
	rests 'acknowledged: still no permit before its reset' true 1 $permit
	has 'reset permit' '^run permit: given again' "$(rigger 'charwarden reset permit')"
	beats 'reset permit: the pulse' $permit
	has 'ack of what is normal: refused' '^exit 1$' "$(rigger 'charwarden ack wall_near_stop')"
	out=$(rigger 'charwarden alarms')
	has 'alarms: the permit is given' '^run permit: given$' "$out"
	lacks 'alarms: wall_near_stop is off the list' '^wall_near_stop' "$out"
}

# part i2c: I2C held for longer than the kernel waits: its channels go, the rest goes on

part_i2c() {
	watching
	held 'I2C held' 'chips i2c hang 100000 on' 150 '(149|15[01])'
	healed
	chips 'tc 0 temp 25'
}

# ticking NAME: the loop's pace over 10 s.
ticking() {
	local a b s n missed
	a=$(page) s=$EPOCHREALTIME; sleep 10; b=$(page) s=$(passes "$s")
	n=$(($(sample charwarden_ticks_total "$b") - $(sample charwarden_ticks_total "$a")))
	missed=$(($(sample charwarden_ticks_missed_total "$b") - $(sample charwarden_ticks_missed_total "$a")))
	if near "$n" "$(awk -v s="$s" 'BEGIN { print 10 * s }')" 10 && [ $missed -le 5 ]; then
		ok "$1: $n ticks in $s s, $missed missed"
	else
		fail "$1: $n ticks in $s s, $missed missed"
	fi
}

# held NAME COMMAND TEMPERATURE REGEX: I2C is held; its channels go, the rest
# goes on: the wall comes to TEMPERATURE, which on the page looks like REGEX.
held() {
	local ch out
	since "$2"
	for ch in $on_i2c; do hears "$1: $ch" 6 "$(reading "$ch" '(stale|no_answer)')"; done
	for ch in $on_i2c; do hears "$1: ${ch}_fault" 9 "$(alarm "${ch}_fault" unacknowledged)"; done
	hides "$1: no samples" '^charwarden_(co_ppm|supply_volts|pressure_pascals)\{|celsius\{channel="air_temp"\}'
	out=$(page)
	for ch in wall_near gas_out speed; do has "$1: $ch goes on" "$(up "$ch" 1)" "$out"; done
	since "chips tc 0 temp $3"
	shows "$1: the wall follows to $3 degC" 6 "^charwarden_temperature_celsius\{channel=\"wall_near\"\} $4"
	ticking "$1"
	out=$(rigger "charwarden check -c $toml")
	has "$1: check says what is bad" '^co .* (fault|missing) ' "$out"
	has "$1: check says what is good" '^wall_near .* good ' "$out"
	has "$1: check: exit 1" '^exit 1$' "$out"
	seen "stuck: $(sample 'charwarden_bus_stuck_seconds{bus="/dev/i2c-1"}' "$(page)") s; reading of co: $(guest "grep -a ' charwarden/pump/reading/co ' /run/rig/heard | tail -n 1" | grep -oE '"status":"[a-z_]+"')"
}

healed() {
	local ch
	since 'chips i2c ok'
	for ch in $on_i2c; do shows "I2C healed: $ch" 10 "$(up "$ch" 1)"; done
	for ch in $on_i2c; do hears "I2C healed: ${ch}_fault" 18 "$(alarm "${ch}_fault" '(returned|latched)')"; done
	quiet
}

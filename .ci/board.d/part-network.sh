# part network: the cable is pulled and put back, with the broker on the board and with it on this machine

part_network() {
	watching
	own_broker
	far_broker
}

# The broker is on the board: the rig does not notice. A phone that comes back
# with the cable gets what is true now.
own_broker() {
	local heard topics
	topics=$(guest 'mosquitto_sub -h 127.0.0.1 -t "charwarden/pump/#" --retained-only -W 3 -F %t | sort -u')
	"$scripts/link.sh" off >/dev/null
	since 'chips tc 0 temp 620'
	hears 'cable pulled: the wall is read' 10 'charwarden/pump/reading/wall_near \{"value":6[12]'
	hears 'cable pulled: its alarms come' 15 "$(alarm wall_near_alarm unacknowledged)"
	sounds 'cable pulled: the horn'
	beats 'cable pulled: watch pulse' $pulse
	has 'cable pulled: commands at the rig' '^wall_near_alarm: now acknowledged$' "$(rigger 'charwarden ack wall_near_alarm')"
	plugged
	heard=$(mosquitto_sub -h 127.0.0.1 -p "$bport" -t 'charwarden/pump/#' --retained-only -W 5 -F '%t %p' 2>&1)
	has 'cable back: a phone gets the temperature of now' 'reading/wall_near \{"value":6[12]' "$heard"
	has 'cable back: and the alarm as it is now' 'alarm/wall_near_alarm .*"state":"acknowledged"' "$heard"
	topics=$(comm -23 <(echo "$topics") <(awk '{ print $1 }' <<<"$heard" | sort -u) | tr '\n' ' ')
	if [ -z "$topics" ]; then ok "cable back: all $(wc -l <<<"$heard") retained topics"; else fail "cable back: not there: $topics"; fi
	chips 'tc 0 temp 25'
	since true
	over 'cable back: the wall is cold' wall_near_notice
	quiet
}

# The broker is on this machine: it goes with the cable.
far_broker() {
	local far=$((bport + 1)) ear
	printf 'listener %d 127.0.0.1\nallow_anonymous true\npersistence false\n' $far >"$tmp/far.conf"
	mosquitto -c "$tmp/far.conf" >/dev/null 2>&1 &
	helpers+=($!)
	sleep 1
	configured "s#^broker = .*#broker = \"tcp://10.0.2.2:$far\"#"
	guest 'systemctl restart charwarden' >/dev/null
	mosquitto_sub -h 127.0.0.1 -p $far -t 'charwarden/pump/#' -F '%U %t %p' >>"$tmp/far" &
	ear=$!; helpers+=($ear)
	far_hears 'broker elsewhere: birth' 20 'charwarden/pump/status watching since '
	"$scripts/link.sh" off >/dev/null; local pulled=$EPOCHREALTIME
	since 'chips tc 0 temp 500'
	stands 'cable pulled: the wall is read' 10 wall_near_notice
	beats 'cable pulled: watch pulse' $pulse
	# 60 s are the rule's; the keep-alive of 10 s notices half as long after.
	stands 'cable pulled: the daemon says that no phone is reached' 100 broker_away_notice
	far_hears 'cable pulled: the broker tells the will' 30 'charwarden/pump/status WATCH LOST'
	: >"$tmp/far"
	plugged
	seen "cable out for $(passes "$pulled") s"
	far_hears 'cable back: birth' 60 'charwarden/pump/status watching since '
	far_hears 'cable back: the temperature of now' 10 'reading/wall_near \{"value":(49[0-9]|50[0-5])'
	far_hears 'cable back: the alarm that came meanwhile' 10 'alarm/wall_near_notice .*"state":"unacknowledged"'
	far_hears 'cable back: the broker is not away' 60 'alarm/broker_away_notice .*"state":"returned"'
	chips 'tc 0 temp 25'
	configured
	since 'systemctl restart charwarden'
	hears "the board's own broker again: birth" 30 'charwarden/pump/status watching since '
	over "the board's own broker again: the wall is cold" wall_near_notice
	quiet
	kill $ear 2>/dev/null
}

# plugged puts the cable back, and waits until something comes through it.
plugged() {
	local from=$EPOCHREALTIME
	"$scripts/link.sh" on >/dev/null
	until page >/dev/null || true_of "$(passes "$from") > 60"; do sleep 0.5; done
	seen "the network is back after $(passes "$from") s"
}

far_hears() { # far_hears NAME LIMIT REGEX
	local from=$EPOCHREALTIME
	while ! grep -aqE -- "$3" "$tmp/far"; do
		if true_of "$(passes "$from") > $2"; then fail "$1: not heard within $2 s: $3"; return; fi
		sleep 0.2
	done
	ok "$1: heard after $(passes "$from") s"
}

# stands NAME LIMIT ALARM: asked on the board, where the cable does not matter.
stands() {
	local from=$EPOCHREALTIME
	until grep -qE "^$3 .* unacknowledged " <<<"$(rigger 'charwarden alarms')"; do
		if true_of "$(passes "$from") > $2"; then fail "$1: $3 does not stand after $2 s"; return; fi
		sleep 1
	done
	ok "$1: $3 stands after $(passes "$from") s"
}

# part co: carbon monoxide, a kill -9 while it stands, and more of it than the cell can show

part_co() {
	watching
	evacuate '250 ppm' 0.65 good
	killed
	evacuate '5 V at the input' 5 clipped_high
	since true
	hears '5 V at the input: kept in clean air' 90 "$(alarm co_evacuate latched)"
	quiet
}

# evacuate NAME VOLTS STATUS
evacuate() {
	since "chips ads ain 1 $2"
	hears "$1: co_evacuate" 2 "$(alarm co_evacuate unacknowledged)"
	hears "$1: the line for people" 2 'charwarden/pump/notify EVACUATE co_evacuate: '
	hears "$1: reading is $3" 3 "$(reading co "$3")"
	shows "$1: co_evacuate" 4 "$(standing co_evacuate)"
	chips 'ads ain 1 0.405'
	sleep 3
	shows "$1: it stays in clean air" 15 "$(standing co_evacuate)"
}

killed() {
	local topics again lost before row='"name":"co_evacuate",.*"state":"unacknowledged"'
	sounds 'before the kill: the horn'
	rests 'before the kill: no permit' true 1 $permit
	before=$(one co_evacuate)
	has 'before the kill: co_evacuate is listed' "$row" "$before"
	unit Restart=no # so that the dead one can be looked at
	since 'systemctl kill -s KILL charwarden'
	rests 'kill -9: watch pulse and horn end' true 6 $pulse $horn
	hears 'kill -9: the will' 5 'charwarden/pump/status WATCH LOST: nobody is watching the rig$'
	if page >/dev/null; then fail 'kill -9: the page still answers'; else ok 'kill -9: the page is gone'; fi
	topics=$(guest "awk '\$2 ~ /(status|summary|alarm\/.*|reading\/.*)\$/ { print \$2 }' /run/rig/heard | sort -u")
	unit
	since 'systemctl reset-failed charwarden; systemctl start charwarden'
	hears 'started again: birth' 30 'charwarden/pump/status watching since '
	all_up 'started again'
	has 'started again: the log says that co_evacuate was restored' 'alarm=co_evacuate .*to=unacknowledged .*restored=true' "$(said)"
	if [ -n "$before" ] && [ "$(one co_evacuate)" = "$before" ]; then ok 'started again: co_evacuate is as it was'; else
		fail 'started again: co_evacuate is not as it was:'; diff <(echo "$before") <(one co_evacuate) | sed 's/^/     /'
	fi
	sounds 'started again: the horn'
	beats 'started again: watch pulse' $pulse
	rests 'started again: no permit' true 1 $permit
	has 'started again: the permit stays tripped' '^run permit: dropped: tripped by ' "$(rigger 'charwarden alarms')"
	again=$(guest "awk -v t=$t0 '\$1 >= t && \$2 ~ /(status|summary|alarm\/.*|reading\/.*)\$/ { print \$2 }' /run/rig/heard | sort -u")
	lost=$(comm -23 <(echo "$topics") <(echo "$again") | tr '\n' ' ')
	if [ -n "$topics" ] && [ -z "$lost" ]; then ok "started again: all $(wc -l <<<"$again") retained topics said again"; else fail "started again: not said again: ${lost:-nothing was ever heard}"; fi
	again=$(guest 'mosquitto_sub -h 127.0.0.1 -t "charwarden/pump/#" --retained-only -W 3 -F %t | sort -u')
	lost=$(comm -23 <(echo "$topics") <(echo "$again") | tr '\n' ' ')
	if [ -z "$lost" ]; then ok 'started again: a new phone gets them all'; else fail "started again: not retained: $lost"; fi
	# Clean air for 60 s ends the condition, not the alarm; what comes then is new.
	hears 'started again: co_evacuate is kept in clean air' 90 "$(alarm co_evacuate latched)"
}

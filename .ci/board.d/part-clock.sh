# part clock: a board without a clock battery starts in the past; times are put right afterwards

part_clock() {
	local out run now wall off day
	watching
	guest 'systemctl enable -q charwarden; systemctl disable -q systemd-timesyncd; rm -f /var/lib/systemd/timesync/clock; systemctl stop charwarden; sync'
	"$scripts/stop.sh" >/dev/null
	BOARD_RTC=2024-01-01 "$scripts/boot.sh" || { fail 'the board does not start with a clock of 2024'; return; }
	# systemd lifts a clock that is before its own making to that day.
	day=$(guest 'date +%F')
	if [ $(($(date +%s) - $(date -d "$day" +%s))) -gt $((30 * 86400)) ]; then ok "no clock battery: the board believes it is $day"; else fail "no clock battery: the board has the right day, $day"; fi
	since_boot
	hears 'no clock battery: birth' 150 "charwarden/pump/status watching since $day"
	at_rest
	all_up 'no clock battery'
	shows 'no clock battery: clock_unsynced counts' 15 '^charwarden_[a-z_]+\{channel="clock_unsynced"\} [1-9]'
	has 'no clock battery: the log says so' "board's clock is (wrong|not known to be right)" "$(said)"
	guest 'charwarden runs start' >/dev/null
	chips 'tc 0 temp 700'
	since true
	hears 'no clock battery: alarms come as ever' 20 "$(alarm wall_near_stop unacknowledged)"
	out=$(guest 'charwarden runs list; charwarden runs list --json')
	run=$(grep -oE '"run":[0-9]+' <<<"$out" | tail -n 1 | cut -d: -f2)
	has 'no clock battery: the run is marked as of an unsure clock' "$day.* \?" "$out"
	has 'no clock battery: its quality has a word' '"clock":"(unset|free)"' "$out"
	seen "$(grep -oE "\"run\":$run,\"begun\":\"[^\"]*\",\"clock\":\"[a-z]*\"" <<<"$out")"

	# Somebody sets the clock; what was written before moves along.
	guest "date -s @$(date +%s) >/dev/null"
	since 'chips tc 0 temp 25'
	hears 'clock set: readings go on' 5 "$(reading wall_near good)"
	guest 'charwarden runs stop' >/dev/null
	out=$(guest "charwarden export $run --format csv --channels wall_near --every 1s")
	wall=$(sed -n 2p <<<"$out" | cut -d, -f1) now=$(date +%s)
	seen "first row of the export: $(sed -n 1,2p <<<"$out" | tr '\n' ' ')"
	off=$((now - $(date -d "$wall" +%s 2>/dev/null || echo 0)))
	if [ $off -ge 0 ] && [ $off -lt 300 ]; then ok "clock set: the run that began on $day is exported with its true times: $wall"; else fail "clock set: exported as $wall"; fi
	out=$(guest 'charwarden runs list --json')
	has 'clock set: runs stand in their order' '^ordered$' "$(grep -oE '"run":[0-9]+,"begun":"[^"]*"' <<<"$out" | sed 's/.*"begun":"//; s/"//' | sort -c 2>&1 && echo ordered)"
	since true
	over 'clock set: the wall is cold' wall_near_stop
	quiet
	guest 'systemctl disable -q charwarden; systemctl enable -q --now systemd-timesyncd'
}

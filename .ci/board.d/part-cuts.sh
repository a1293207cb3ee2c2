# part cuts: (25 min) the power is cut 30 times at random moments while alarms change

part_cuts() {
	local i
	cut_begin
	for i in $(seq "${BOARD_CUTS:-30}"); do one_cut "$i" 5; done
	cut_end
}

# cut_begin: the unit starts at boot, and this machine listens all the while.
cut_begin() {
	command -v sqlite3 >/dev/null || { fail 'power cuts: sqlite3 is missing (Debian: sqlite3)'; return; }
	watching
	quiet
	guest 'systemctl enable -q charwarden' >/dev/null
	: >"$tmp/ear"
	listen &
	helpers+=($!)
	table=
	# The card of the next life is chosen when the board starts.
	export BOARD_CUT=random BOARD_SEED=1
}

# listen hears the board's broker, again after each cut. One line a message: when,
# retained or not, topic, payload.
listen() {
	local sub=''
	trap '[ -z "$sub" ] || kill $sub 2>/dev/null; exit' TERM
	while :; do
		mosquitto_sub -h 127.0.0.1 -p "$bport" -k 5 -t 'charwarden/pump/alarm/#' -t charwarden/pump/status \
			-F '%U\t%r\t%t\t%p' >>"$tmp/ear" 2>/dev/null &
		sub=$!
		wait $sub
		sleep 0.3
	done
}

# one_cut NUMBER LIMIT [liar]: one life of the board, and what the next one remembers
# of it. LIMIT is how many seconds of rows may be lost; what a liar of a card
# forgets of the alarms is told and not failed.
one_cut() {
	local i=$1 limit=$2 boot up h cutat cutup from ready out rows lost gone whole said v doubt was=$failed
	export BOARD_SEED=$((i + 1))
	from=$EPOCHREALTIME
	# Alarms come and go, each at its own moment.
	chips "ads ain 1 0.4..0.$((RANDOM % 30 + 50))/4" "tc 0 temp 25..$((RANDOM % 300 + 450))/5" "ina bus $(((RANDOM % 2)) && echo 4.5 || echo 5.02)"
	sleep "$(reckon "4 + $RANDOM / 32768 * 8" 2)"
	chips 'ads ain 1 0.405' "tc $((RANDOM % 2)) fault $( ((RANDOM % 2)) && echo oc || echo none)"
	sleep "$(reckon "$RANDOM / 32768 * 5" 2)"
	h=$EPOCHREALTIME
	out=$(guest 'cat /proc/sys/kernel/random/boot_id; cut -d" " -f1 /proc/uptime')
	doubt=$(reckon "($EPOCHREALTIME - $h) / 2" 1) # of when it was asked
	h=$(reckon "($h + $EPOCHREALTIME) / 2" 3) boot=$(sed -n 1p <<<"$out") up=$(sed -n 2p <<<"$out")
	sleep "$(reckon "$RANDOM / 32768 * 2" 2)"
	cutat=$EPOCHREALTIME
	if ! "$scripts/powercut.sh" >"$tmp/cut.out" 2>&1; then
		fail "cut $i: the board does not start again"; sed 's/^/     /' "$tmp/cut.out"; finish
	fi
	cutup=$(reckon "($up + $cutat - $h) * 1000" 0)
	v=$(grep -oE '"(CutHeldSectors|CutLost)":[0-9]+' "$tmp/cut.out" | cut -d: -f2 | tr '\n' '/')

	ready=$(up_again) || { fail "cut $i: the unit does not start by itself"; guest 'systemctl status charwarden --no-pager | tail -n 20' | sed 's/^/     /'; return; }
	at_rest
	whole=$(guest 'charwarden runs verify; echo exit $?')
	if grep -q '^exit 0$' <<<"$whole"; then whole=whole; else
		whole=$(grep -v ': whole: ' <<<"$whole" | head -n 1); salvaged "$i" "$whole"
	fi
	rows=$(remembered "$boot") || { fail "cut $i: no run of that boot: ${rows:-nothing}"; return; }
	lost=$(reckon "($cutup - $rows) / 1000" 1)
	if true_of "$lost - $doubt <= $limit && $lost + $doubt > -1"; then :; else fail "cut $i: $lost s of rows are lost (give or take $doubt), more than $limit"; fi
	gone=$(forgotten "$from" "$cutat")
	[ -z "$gone" ] || { [ "${3:-}" = liar ] || fail "cut $i: alarms that were told are forgotten:"; sed 's/^/     /' <<<"$gone"; }
	said=$(guest 'journalctl -u charwarden -b -o cat --no-pager | grep -E "cut off" | head -n 1')
	[ -n "$said" ] || fail "cut $i: the daemon does not say that it was cut off"
	table+=$(printf '%4s %10s %10s %12s %11s  %s' "$i" "$lost±$doubt" "$(grep -c . <<<"$gone")" "$v" "$ready" "$whole")$'\n'
	tail -n 1 <<<"${table%$'\n'}" | sed 's/^/     /'
	[ $failed != $was ] || ok "cut $i: $lost s of rows lost, READY $ready s after the kernel began"
}

# up_again: seconds from the kernel's begin to READY.
up_again() {
	local end=$((SECONDS + 60)) t
	while [ $SECONDS -lt $end ]; do
		t=$(guest 'systemctl is-active -q charwarden && systemctl show -p ActiveEnterTimestampMonotonic --value charwarden')
		if number "$t"; then reckon "$t / 1e6"; return; fi
		sleep 1
	done
	return 1
}

# remembered BOOT: the newest row of that boot, in ms since it began. Its files
# come over here, where SQLite's own shell reads them.
remembered() {
	rm -rf "$tmp/cut"; mkdir "$tmp/cut"
	guest 'cd /var/lib/charwarden/runs && ls *.db | tail -n 4 | sed "s/$/*/" | xargs sh -c '"'"'tar cf /tmp/cut.tar $(ls $* | sort -u)'"'"' sh' >/dev/null
	"$scripts/get.sh" /tmp/cut.tar "$tmp/cut.tar" && tar xf "$tmp/cut.tar" -C "$tmp/cut" || return 1
	local f newest=''
	: >"$tmp/logged"
	for f in "$tmp"/cut/*.db; do
		if [ "$(sqlite3 "$f" "SELECT value FROM head WHERE key = 'boot'" 2>&1)" = "$1" ]; then
			newest=$(sqlite3 "$f" 'SELECT max(ms) FROM ticks' 2>/dev/null)
			sqlite3 -separator ' ' "$f" 'SELECT alarm, seq, to_state FROM transitions' >>"$tmp/logged" 2>/dev/null
		fi
	done
	number "$newest" && echo "$newest"
}

# forgotten FROM UNTIL: alarms' changes that this machine heard in that life, that
# the log of it does not have, and that what stands now does not show either.
forgotten() {
	local now
	now=$(mosquitto_sub -h 127.0.0.1 -p "$bport" -t 'charwarden/pump/alarm/#' --retained-only -W 4 -F '%t\t%p' 2>/dev/null)
	{
		sed 's/^/logged\t/' "$tmp/logged"
		sed 's/^/now\t/' <<<"$now"
		awk -F '\t' -v a="$1" -v b="$2" '$1 >= a && $1 <= b' "$tmp/ear" | sed 's/^/heard\t/'
	} | awk -F '\t' -v cut="$2" '
		function of(key, text) { # a value out of JSON without nesting
			if (!match(text, "\"" key "\":\"?[^,\"}]*")) return ""
			text = substr(text, RSTART, RLENGTH); sub(/^[^:]*:"?/, "", text); return text
		}
		$1 == "logged" { logged[$2] = 1; next }
		$1 == "now" && $3 != "" { seq[of("name", $3)] = of("seq", $3); state[of("name", $3)] = of("state", $3); next }
		$1 == "heard" && $4 ~ /\/alarm\// {
			name = of("name", $5); s = of("seq", $5); st = of("state", $5); key = name " " s " " st
			was = last[name]; last[name] = key
			if ($3 == 1 || key == was || was == "" && st == "normal") next # no change: how the life began, or said again
			if (key in logged || seq[name] + 0 > s + 0 || seq[name] + 0 == s + 0 && (state[name] == st || state[name] != "normal")) next
			printf "%s %s %s, heard %.2f s before the cut; now %s %s\n", name, s, st, cut - $2, seq[name], state[name]
		}'
}

# salvaged NUMBER VERDICT: a file that is not whole must give what is in it.
salvaged() {
	local run out
	run=$(sed -n 's/^run \([0-9]*\):.*/\1/p' <<<"$2" | head -n 1)
	out=$(guest "rm -f /tmp/salvaged.db; charwarden runs verify $run --salvage /tmp/salvaged.db; echo exit \$?; charwarden runs verify 1 --dir /tmp 2>&1 | tail -n 1")
	if guest '[ -s /tmp/salvaged.db ]' >/dev/null; then ok "cut $1: run $run is damaged and was salvaged"; else fail "cut $1: run $run is damaged and not salvaged: $(head -n 2 <<<"$out" | tr '\n' ' ')"; fi
}

cut_end() {
	unset BOARD_CUT BOARD_SEED BOARD_LIE
	noted+=$(printf '%4s %10s %10s %12s %11s  %s' cut 'lost s' forgotten held/lost 'READY s' files)$'\n'"$table"
	chips 'tc 0 fault none' 'tc 1 fault none'
	guest 'systemctl disable -q charwarden' >/dev/null
}

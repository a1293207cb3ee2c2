# part flips: (10 min) one transfer in twenty comes with a flipped bit on both buses: no limit alarm may come of it

# What the chips show all the while, and how far a good value may be from it.
shown='wall_near 25 2|gas_out 25 2|suction 300 6|filter_drop 400 6|co 5 1.5|supply 5.02 0.05|air_temp 21.5 1|air_pressure 99000 50'

part_flips() {
	local before text minutes=${BOARD_FLIPS:-10} out run n file ch want tol begin end
	watching
	quiet
	at_rest
	guest 'charwarden runs start; sleep 5' >/dev/null
	before=$(page) run=$(guest 'ls /var/lib/charwarden/runs' | sed -n 's/^0*\([0-9]*\)\.db$/\1/p' | tail -n 1)
	since 'chips i2c flip 0.05; chips spi flip 0.05'
	begin=$(uptime_ms)
	for _ in $(seq "$minutes"); do guest 'sleep 60' >/dev/null; done
	text=$(guest "awk -v t=$t0 '\$1 >= t' /run/rig/heard")
	end=$(uptime_ms)
	chips 'i2c flip 0' 'spi flip 0'
	guest 'charwarden runs stop; sleep 6' >/dev/null
	lacks "flips: no limit alarm in $minutes min" '/alarm/[a-z_0-9]+ .*"state":"unacknowledged"' \
		"$(grep -vE '/alarm/([a-z_0-9]+_(fault|frozen|unzeroed)|(bus_stall|broker_away|tick_late|disk_free|clock_unsynced|board_temp|state_unsaved|log_unsaved|output_fault)_[a-z]+) ' <<<"$text")"
	n=$(grep -cE '/alarm/[a-z_0-9]+_fault .*"state":"unacknowledged"' <<<"$text")
	seen "$n fault alarms: $(grep -oE '/alarm/[a-z_0-9]+_fault .*"state":"unacknowledged"' <<<"$text" | sed 's/^.alarm.//; s/ .*//' | sort | uniq -c | tr -s '\n ' ' ')"
	seen "$(guest 'chips stat')"
	refused "$before" "$(page)"

	# Every value that was taken for good, as the run log has it.
	file=$(printf '/var/lib/charwarden/runs/%06d.db' "$run")
	guest "cd /tmp && rm -rf flips && mkdir flips && cp $file* flips/ && tar cf /tmp/flips.tar -C flips ." >/dev/null
	"$scripts/get.sh" /tmp/flips.tar "$tmp/flips.tar" && mkdir -p "$tmp/flips" && tar xf "$tmp/flips.tar" -C "$tmp/flips" || { fail 'flips: the run cannot be fetched'; return; }
	file=$tmp/flips/${file##*/}
	n=0
	while read -r ch want tol; do
		out=$(sqlite3 "$file" "SELECT count(*), coalesce(sum(abs($ch - $want) > $tol), 0), coalesce(max(abs($ch - $want)), 0) FROM tick_values WHERE ms BETWEEN $begin AND $end AND $ch IS NOT NULL")
		seen "$ch: ${out%%|*} good values, $(cut -d'|' -f2 <<<"$out") of them off by more than $tol, by $(reckon "${out##*|}" 2) at most"
		n=$((n + $(cut -d'|' -f2 <<<"$out")))
	done < <(tr '|' '\n' <<<"$shown")
	# A bus without a checksum lets some through; what counts is that none raised
	# an alarm, and that none stays once the bus is quiet.
	noted+="flips: $n wrong values taken for good in $minutes min"$'\n'
	settled
}

uptime_ms() { guest "awk '{ printf \"%d\", \$1 * 1000 }' /proc/uptime"; }

# refused BEFORE AFTER: bad readings by channel and word.
refused() {
	awk '/^charwarden_channel_faults_total/ {
			if (NR == FNR) { was[$1] = $2; next }
			if ((d = $2 - was[$1]) <= 0) next
			n += d; gsub(/charwarden_channel_faults_total|[{}"]|channel=|fault=/, "", $1); print "     refused: " $1 ": " d
		}
		END { print "     refused in all: " n + 0 }' <(echo "$1") <(echo "$2")
}

# settled: with a quiet bus every value is again what the chips show.
settled() {
	local text ch want tol v
	text=$(page)
	while read -r ch want tol; do
		v=$(awk -v c="channel=\"$ch\"}" 'index($1, c) && $1 ~ /_(celsius|pascals|ppm|volts)\{/ { print $2 }' <<<"$text")
		if near "$v" "$want" "$tol"; then ok "bus quiet again: $ch is $v"; else fail "bus quiet again: $ch is '$v', not $want"; fi
	done < <(tr '|' '\n' <<<"$shown")
}

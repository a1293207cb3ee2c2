# part runlog: the run log on the board's own disk: notes, a file cut off by a kill -9, replay

part_runlog() {
	local out run='' i
	watching
	chips 'tc 0 temp 700' # something to replay
	since true
	hears 'run log: an alarm to remember' 20 "$(alarm wall_near_stop unacknowledged)"
	out=$(rigger 'charwarden note moisture 8 percent')
	has 'note: understood' '^noted: moisture 8 percent$' "$out"
	run=$(guest 'ls /var/lib/charwarden/runs' | sed -n 's/^0*\([0-9]*\)\.db$/\1/p' | tail -n 1)
	chips 'tc 0 temp 25'
	guest 'sleep 6' >/dev/null
	since 'systemctl kill -s KILL charwarden'
	hears 'run log: kill -9: systemd starts it again' 30 'charwarden/pump/status watching since '
	out=$(rigger "charwarden runs verify")
	has 'run log: the file that was cut off' "^run $run: whole: [0-9]+ rows\$" "$out"
	has 'run log: whole' '^exit 0$' "$out"
	out=$(rigger "charwarden export $run --whole --channels wall_near --every 10s | tail -n 2")
	has 'export: degrees of the wall' ',[0-9.]+,[0-9.]+$' "$out"
	out=$(rigger "charwarden replay $run")
	has 'replay: the same alarms again' ' [1-9][0-9]* changes as they were, 0 that were and do not come, 0 that come and were not' "$out"
	seen "$(guest 'du -h /var/lib/charwarden/runs' | tr '\n' ' ')"
	since true
	over 'run log: afterwards the wall is cold' wall_near_stop
	quiet
}

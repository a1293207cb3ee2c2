# part watchdog: a daemon that is stopped, and one whose loop hangs, are killed and started again

part_watchdog() {
	watching
	chips 'tc 0 temp 700'
	since true
	hears 'before: wall_near_stop stands' 20 "$(alarm wall_near_stop unacknowledged)"
	revived 'SIGSTOP' 'systemctl kill -s STOP charwarden'
	unit ExecStart= "ExecStart=/usr/local/bin/charwarden-hangs run -c $toml"
	since 'systemctl restart charwarden'
	hears 'the one that can hang: birth' 30 'charwarden/pump/status watching since '
	revived 'hung loop' 'systemctl kill -s USR1 charwarden'
	has 'hung loop: the log says where it hung' 'goroutine 1 .*|main\.hangs' "$(said)"
	unit
	guest 'systemctl restart charwarden' >/dev/null
	chips 'tc 0 temp 25'
	since true
	over 'afterwards: the wall is cold' wall_near_stop
	quiet
}

# revived NAME COMMAND: from COMMAND on nobody feeds the watchdog.
revived() {
	local old out start
	old=$(pid)
	guest "sleep 3" >/dev/null # a whole feeding lies behind
	since "$2"
	start=$t0
	hears "$1: the will" 25 'charwarden/pump/status WATCH LOST: nobody is watching the rig$'
	hears "$1: birth" 30 'charwarden/pump/status watching since '
	later
	hears "$1: readings again" 10 "$(reading wall_near good)"
	# WatchdogSec is 10 s; then the abort (3 s at most), RestartSec 1 s, the start in
	# 2 s: about twice those for an emulated board.
	within "$1: from the last sign of life to readings" "$(reckon "$t0 + ${after:-99} - $start")" 30 s
	t0=$start
	out=$(said)
	has "$1: systemd says why" 'Watchdog timeout' "$(guest "journalctl -u charwarden --no-pager --since @${t0%.*}")"
	if [ "$(pid)" != "$old" ]; then ok "$1: another process"; else fail "$1: still process $old"; fi
	has "$1: the log says that the alarm was restored" 'alarm=wall_near_stop .*to=unacknowledged .*restored=true' "$out"
	has "$1: the alarm is said again" '^exit 1$' "$(rigger 'charwarden alarms')"
	hears "$1: the alarm is published again" 40 "$(alarm wall_near_stop unacknowledged)"
}

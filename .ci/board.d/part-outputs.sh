# part outputs: every channel comes up; what hangs on the pulses stops by itself once nobody works

part_outputs() {
	local ch
	watching
	since true
	for ch in $channels; do shows "$ch is up" 15 "$(up "$ch" 1)"; done
	for ch in $own; do shows "the board's own $ch is there" 15 "$(up "$ch" 1)"; done
	shows 'board_temp: the file says 45 degC' 15 '^charwarden_temperature_celsius\{channel="board_temp"\} 45$'
	pulses
}

# No way of dying may leave an edge behind. The unit is kept from starting the
# daemon again, so that what is seen is the dead one.
pulses() {
	beats 'watch pulse' $pulse
	beats 'run permit' $permit
	rests 'horn: silent while nothing calls' true 5 $horn
	rests 'SIGSTOP: both pulses end' 'systemctl kill -s STOP charwarden' 1 $pulse $permit
	guest 'systemctl kill -s CONT charwarden' >/dev/null
	beats 'SIGCONT: watch pulse' $pulse
	beats 'SIGCONT: run permit' $permit
	unit Restart=no
	rests 'kill -9: both pulses end' 'systemctl kill -s KILL charwarden' 1 $pulse $permit
	unit Restart=no WatchdogSec=0 ExecStart= "ExecStart=/usr/local/bin/charwarden-hangs run -c $toml"
	guest 'systemctl reset-failed charwarden; systemctl start charwarden' >/dev/null
	beats 'the one that can hang: watch pulse' $pulse
	beats 'the one that can hang: run permit' $permit
	rests 'hung loop: both pulses end' 'systemctl kill -s USR1 charwarden' 1 $pulse $permit
	has 'hung loop: the process lives' '^active' "$(guest 'systemctl is-active charwarden')"
	guest 'systemctl kill -s KILL charwarden; sleep 1' >/dev/null
	unit
	since 'systemctl reset-failed charwarden; systemctl start charwarden'
	hears 'started again: birth' 30 'charwarden/pump/status watching since '
	all_up 'started again'
	beats 'started again: watch pulse' $pulse
	beats 'started again: run permit' $permit
}

# part config: a wrong configuration ends with 78, is not tried again, says where

part_config() {
	local line out
	watching
	line=$(grep -n '^tick' .ci/board.d/rig.toml | cut -d: -f1)
	configured 's/^tick = .*/tick = "100 parsecs"/'
	since 'systemctl restart charwarden'
	guest 'sleep 5' >/dev/null # five times RestartSec
	has 'wrong configuration: exit 78' '^78$' "$(guest 'systemctl show -p ExecMainStatus --value charwarden')"
	has 'wrong configuration: the unit has failed' '^failed$' "$(guest 'systemctl is-failed charwarden')"
	has 'wrong configuration: not started again' '^0$' "$(guest 'systemctl show -p NRestarts --value charwarden')"
	out=$(said)
	has "wrong configuration: the log names line $line and the key" "rig.toml:$line: rig.tick" "$out"
	seen "$(grep -F parsecs <<<"$out" | head -n 1)"
	configured
	since 'systemctl start charwarden'
	hears 'configuration mended: birth' 30 'charwarden/pump/status watching since '
}

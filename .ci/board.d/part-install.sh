# part install: the package, the chips asked once, the first start, the unit's hardening

part_install() {
	local out ch group v
	"$scripts/link.sh" off >/dev/null # installing needs no network
	put "$deb" /root/charwarden.deb
	out=$(guest 'dpkg -i /root/charwarden.deb; echo exit $?')
	"$scripts/link.sh" on >/dev/null
	sed 's/^/     | /' <<<"$out"
	has 'dpkg -i: exit 0' '^exit 0$' "$out"
	has 'dpkg -i: says what is next' 'charwarden check' "$out"
	has 'dpkg -i: says how it is started' 'systemctl enable --now charwarden' "$out"
	has 'installed: does not run by itself' '^inactive$' "$(guest 'systemctl is-active charwarden')"
	has 'installed: is not enabled by itself' '^disabled$' "$(guest 'systemctl is-enabled charwarden')"
	out=$(guest 'id charwarden')
	for group in spi i2c gpio; do has "installed: the user is in group $group" "\($group\)" "$out"; done
	has "installed: $toml is the owner's and the group's" '^root charwarden 640$' "$(guest "stat -c '%U %G %a' $toml")"
	has "installed: $toml is the reference" '^same$' "$(guest "charwarden config | cmp - $toml && echo same")"
	out=$(guest 'systemd-analyze verify charwarden.service; echo exit $?')
	lacks 'systemd-analyze verify: says nothing of the unit' 'charwarden' "$out"
	has 'systemd-analyze verify: exit 0' '^exit 0$' "$out"

	guest 'useradd -m -G charwarden,spi,i2c,gpio rigger' || exit 1
	configured
	asked
	put "$tmp/charwarden-hangs" /usr/local/bin/charwarden-hangs

	since 'systemctl start charwarden'
	hears 'first start: birth' 30 'charwarden/pump/status watching since '
	# 2 s are promised on a board; the emulated one is allowed three times that.
	within 'first start: READY' "$(ready_after)" 6 s
	out=$(guest 'p=$(systemctl show -p MainPID --value charwarden); ps -o user= -p $p; grep -E "^(CapEff|CapPrm|NoNewPrivs|Seccomp):" /proc/$p/status')
	has 'runs as user charwarden' '^charwarden$' "$(head -n 1 <<<"$out" | tr -d ' ')"
	has 'runs without any capability' '^CapEff:.0000000000000000$' "$out"
	has 'can gain none' '^NoNewPrivs:.1$' "$out"
	has 'runs behind a filter of system calls' '^Seccomp:.2$' "$out"
	out=$(guest 'systemd-analyze security charwarden.service --no-pager | tail -n 1')
	v=$(grep -oE '[0-9]+\.[0-9]+' <<<"$out" | head -n 1)
	within 'systemd-analyze security' "$v" 2.0 'exposure'
}

# ready_after: seconds from the start of the process to READY.
ready_after() {
	guest 'systemctl show -p ExecMainStartTimestampMonotonic -p ActiveEnterTimestampMonotonic charwarden' |
		awk -F= '{ t[$1] = $2 } END { printf "%.2f", (t["ActiveEnterTimestampMonotonic"] - t["ExecMainStartTimestampMonotonic"]) / 1e6 }'
}

# asked: `check` before the first start, as by the owner, and with things missing.
asked() {
	local out ch
	out=$(rigger "charwarden check -c $toml")
	for ch in $channels; do has "check: $ch is good" "^$ch .* good " "$out"; done
	has 'check: exit 0' '^exit 0$' "$out"
	[ $failed = 0 ] || { sed 's/^/     /' <<<"$out"; echo 'not one good chip to go on with'; finish; }
	direct=$(columns "$out")
	out=$(rigger "charwarden check --json -c $toml")
	has 'check --json: value and unit' '"channel":"co","chip":"CO cell on ADS1115 AIN1","bus":"/dev/i2c-1 0x48","state":"good","value":[45][.0-9]*,"unit":"ppm","fault":null,"hint":null' "$out"
	has 'check --json: exit 0' '^exit 0$' "$out"

	has "check by nobody: the owner's file is not for him" 'permission denied' "$(guest "runuser -u nobody -- charwarden check -c $toml")"
	out=$(guest 'runuser -u nobody -- charwarden check -c /etc/rig/rig.toml; echo exit $?')
	has 'check by nobody: exit 1' '^exit 1$' "$out"
	has 'check by nobody: names group spi' '^wall_near: .*group spi' "$out"
	has 'check by nobody: names group i2c' '^co: .*group i2c' "$out"
	has 'check by nobody: names group gpio' '^speed: .*group gpio' "$out"

	guest 'systemctl stop vboard-chips' >/dev/null
	out=$(rigger "charwarden check -c $toml")
	for ch in wall_near gas_out $on_i2c; do has "chips without power: $ch is missing" "^$ch .* missing " "$out"; done
	has 'chips without power: exit 1' '^exit 1$' "$out"
	powered
}

# powered gives the chips their power back.
powered() {
	guest 'systemctl start vboard-chips; for i in $(seq 50); do [ -S /run/vboard.sock ] && break; sleep .1; done' >/dev/null
	at_rest
}

# part upgrade: a newer package keeps configuration and runs; removal, purge with and without the runs

part_upgrade() {
	local out old was runs
	watching
	guest "printf '\n# a line of the owner\n' >>$toml"
	was=$(guest "sha256sum <$toml") old=$(pid) runs=$(guest 'ls /var/lib/charwarden/runs/*.db | wc -l')
	out=$(dpkg-deb -f "$deb" Version)
	package "$out+board1"
	put "$deb" /root/charwarden-new.deb
	since true
	out=$(guest 'dpkg -i /root/charwarden-new.deb </dev/null; echo exit $?')
	sed 's/^/     | /' <<<"$out"
	has 'upgrade: exit 0' '^exit 0$' "$out"
	hears 'upgrade: it ran, so it runs again: birth' 120 'charwarden/pump/status watching since '
	if [ "$(pid)" != "$old" ]; then ok 'upgrade: another process'; else fail 'upgrade: the old process still runs'; fi
	has 'upgrade: of the new version' '\+board1' "$(guest 'charwarden version')"
	if [ "$(guest "sha256sum <$toml")" = "$was" ]; then ok 'upgrade: the configuration is as the owner left it'; else fail 'upgrade: the configuration was changed'; fi
	out=$(guest 'ls /var/lib/charwarden/runs/*.db | wc -l')
	if [ "$out" -ge "$runs" ]; then ok "upgrade: $out files of runs, $runs before"; else fail "upgrade: $out files of runs, $runs before"; fi
	guest 'systemctl stop charwarden; dpkg -i /root/charwarden-new.deb >/dev/null 2>&1'
	has 'upgrade of one that is stopped: stays stopped' '^inactive$' "$(guest 'systemctl is-active charwarden')"

	guest 'systemctl start charwarden' >/dev/null
	out=$(guest 'dpkg -r charwarden; echo exit $?')
	has 'remove: exit 0' '^exit 0$' "$out"
	has 'remove: nothing runs' '^(inactive|failed|unknown)$' "$(guest 'systemctl is-active charwarden')"
	has 'remove: the configuration stays' '^there$' "$(guest "[ -e $toml ] && echo there")"
	out=$(guest 'dpkg -P charwarden; echo exit $?')
	sed 's/^/     | /' <<<"$out"
	has 'purge: exit 0' '^exit 0$' "$out"
	has 'purge: the configuration goes' '^gone$' "$(guest "[ -e $toml ] || echo gone")"
	has 'purge: the runs stay' '^[1-9]' "$(guest 'ls /var/lib/charwarden/runs/*.db 2>/dev/null | wc -l')"
	has 'purge: says where they are' '/var/lib/charwarden/runs' "$out"

	guest 'dpkg -i /root/charwarden.deb >/dev/null 2>&1; dpkg -r charwarden >/dev/null 2>&1'
	out=$(guest 'CHARWARDEN_PURGE_RUNS=yes dpkg -P charwarden; echo exit $?')
	has 'purge with the asking: exit 0' '^exit 0$' "$out"
	has 'purge with the asking: the runs go' '^gone$' "$(guest '[ -e /var/lib/charwarden/runs ] || echo gone')"
}

# part locked: a bus controller that locks up for ever: what goes on, and the reboot that frees it

lock_up='echo 0 >/sys/module/vboard/parameters/i2c_timeout_ms; chips i2c hang 100000 on'

part_locked() {
	local id out old
	watching
	guest 'systemctl enable -q charwarden'
	held 'I2C locked up' "$lock_up" 100 '(99|10[01])'
	id=$(boot_id) old=$(pid)
	# The daemon's thread cannot be killed, and the board stays taken: nobody
	# would watch before the power was off. The unit's own action ends that.
	unit Restart=no ExecStopPost=
	since 'systemctl kill -s KILL charwarden'
	# The stuck thread keeps the connection open: the broker's patience decides,
	# one and a half times the keep-alive of 10 s.
	hears 'I2C locked up, kill -9: the will' 30 'charwarden/pump/status WATCH LOST'
	out=$(rigger "charwarden run -c $toml")
	has 'I2C locked up, kill -9: the next run says that only a power cycle helps' "process $old .*only a power cycle helps" "$out"
	has 'I2C locked up, kill -9: and ends with a status of its own' '^exit 71$' "$out"
	unit
	since 'systemctl --no-block restart charwarden'
	if back_up "$id" 400; then ok "I2C locked up: the board starts anew by itself: back after $(passes "$h0") s"; else
		fail 'I2C locked up: the board does not start anew'
		guest 'journalctl -u charwarden --no-pager | tail -n 20' | sed 's/^/     /'
		return
	fi
	since_boot
	hears 'after the reboot: birth' 150 'charwarden/pump/status watching since '
	at_rest
	all_up 'after the reboot'
	out=$(guest 'journalctl -b -1 -p crit -o cat --no-pager | grep "locked up" | tail -n 1')
	has 'before the reboot: the journal said why' 'locked up .*restarts now' "$out"
	out=$(guest 'journalctl -b -p crit -o cat --no-pager | grep "locked up" | tail -n 1')
	has 'after the reboot: the journal says why' 'was restarted because' "$out"

	# The same again at once: a board that reboots for ever watches no better.
	id=$(boot_id)
	since "$lock_up"
	guest 'sleep 5; systemctl --no-block kill -s KILL charwarden; sleep 80' >/dev/null # until systemd gives the old one up
	if [ "$(boot_id)" = "$id" ]; then ok 'locked up again within 10 min: no second reboot'; else fail 'locked up again within 10 min: it rebooted again'; fi
	out=$(guest "journalctl -p crit -o cat --no-pager --since @${t0%.*} | grep 'locked up'")
	has 'locked up again: says that only a power cycle helps' 'locked up again .*[Oo]nly a power cycle helps' "$out"
	"$scripts/powercut.sh" >"$tmp/cut" 2>&1 || cat "$tmp/cut"
	since_boot
	hears 'after a power cycle: birth' 150 'charwarden/pump/status watching since '
	at_rest
	all_up 'after a power cycle'
	guest 'systemctl disable -q charwarden'
}

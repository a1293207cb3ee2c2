# The rig on the board: how it is built, installed, started and put to rest.
# Sourced by .ci/board after words.sh.

toml=/etc/charwarden/rig.toml
on_i2c='suction co filter_drop supply air_temp air_pressure'
channels="wall_near gas_out speed $on_i2c"
own='board_temp disk_free clock_unsynced' # channels that the board has without a chip

package() { # package VERSION: the arm64 .deb of that version ("" is the tree's own), its path in $deb
	local out=$tmp/deb${1:+-$1}
	mkdir -p "$out"
	${1:+env VERSION="$1"} deploy/package/build "$out" arm64 >"$tmp/package" 2>&1 || { cat "$tmp/package"; exit 1; }
	deb=$(echo "$out"/charwarden_*_arm64.deb)
}

# hanging builds the daemon with one thing more: SIGUSR1 hangs its loop, as no
# daemon of ours can.
hanging() {
	sed 's/log: newLog(lines)}/log: newLog(lines), more: []output{hangs()}}/' cmd/charwarden/run.go >"$tmp/run.go"
	cmp -s cmd/charwarden/run.go "$tmp/run.go" && { echo 'the daemon that hangs: its place in run.go has gone'; exit 1; }
	cat >"$tmp/hang.go" <<-'END'
		package main

		import (
			"os"
			"os/signal"
			"syscall"
		)

		func hangs() output {
			told := make(chan os.Signal, 1)
			signal.Notify(told, syscall.SIGUSR1)
			return func(*frame) {
				select {
				case <-told:
					select {}
				default:
				}
			}
		}
	END
	printf '{"Replace": {"%s": "%s", "%s": "%s"}}' "$PWD/cmd/charwarden/run.go" "$tmp/run.go" "$PWD/cmd/charwarden/hang.go" "$tmp/hang.go" >"$tmp/overlay.json"
	CGO_ENABLED=0 GOOS=linux GOARCH=arm64 go build -overlay "$tmp/overlay.json" -trimpath -ldflags '-s -w' -o "$tmp/charwarden-hangs" ./cmd/charwarden || exit 1
}

boot_fresh() {
	[ -e "${BOARD_IMG:-${XDG_CACHE_HOME:-$HOME/.cache}/virtual-board}/rootfs.ext4" ] || "$scripts/build-image.sh" || exit 1
	mine=1
	if ! "$scripts/boot.sh" --fresh 2>&1 | tee "$tmp/boot"; then
		grep -q 'already running' "$tmp/boot" && mine='' # another run's: not ours to stop
		exit 1
	fi
	guest 'mkdir -p /etc/rig && echo 45000 >/etc/rig/thermal' || exit 1
	install -m 644 .ci/board.d/{rig.toml,broker.conf,rig-broker.service,rig-ear.service} "$tmp"
	put "$tmp/broker.conf" /etc/rig/broker.conf
	put "$tmp/rig-broker.service" /etc/systemd/system/rig-broker.service
	put "$tmp/rig-ear.service" /etc/systemd/system/rig-ear.service
	put .ci/board.d/hear /usr/local/bin/hear
	put .ci/board.d/edges /usr/local/bin/edges
	guest 'systemctl daemon-reload; systemctl enable -q --now rig-broker; sleep 2; systemctl enable -q --now rig-ear' || exit 1
	at_rest
}

# at_rest: cold and clean, the engine at 3000 rpm. 300 Pa, 5 ppm, 400 Pa.
at_rest() {
	chips 'tc 0 temp 25' 'tc 1 temp 25' 'ads ain 0 0.8' 'ads ain 1 0.405' 'ads ain 2 1.3' \
		'gpio 17 pulse 50' 'bmp temp 21.5' 'bmp press 99000' 'ina bus 5.02'
}

# The board's rig in place of the reference one. rig.toml with sed's words changed.
configured() {
	sed "${1:-}" .ci/board.d/rig.toml >"$tmp/rig.toml"
	put "$tmp/rig.toml" /etc/rig/rig.toml # anybody may read this one
	guest "install -o root -g charwarden -m 640 /etc/rig/rig.toml $toml" || exit 1
}

# watching: the unit runs and the subscriber has heard so.
watching() {
	[ "$(guest 'systemctl is-active charwarden')" = active ] && return
	since 'systemctl reset-failed charwarden; systemctl start charwarden'
	hears 'started: birth' 30 'charwarden/pump/status watching since '
}
all_up() { # all_up NAME: every channel is good
	local ch
	for ch in $channels; do shows "$1: $ch is up" 15 "$(up "$ch" 1)"; done
}

# unit LINE ...: these lines of [Service] over the unit's own, until `unit`.
unit() {
	local d=/run/systemd/system/charwarden.service.d
	if [ $# = 0 ]; then guest "rm -rf $d; systemctl daemon-reload"; return; fi
	guest "mkdir -p $d; printf '%s\n' '[Service]' $(printf '%q ' "$@") >$d/board.conf; systemctl daemon-reload"
}
pid() { guest 'systemctl show -p MainPID --value charwarden'; }

# quiet puts right what a part left standing: acknowledges and resets all.
quiet() {
	guest 'for n in $(charwarden alarms | awk "\$3 ~ /^(unacknowledged|returned|latched)\$/ { print \$1 }"); do charwarden ack $n; done
		for n in $(charwarden alarms | awk "\$3 == \"latched_acknowledged\" { print \$1 }"); do charwarden reset $n; done
		charwarden reset permit' >"$tmp/quiet"
}

# back_up: waits for a board that starts again by itself; its boot id must differ.
boot_id() { guest 'cat /proc/sys/kernel/random/boot_id'; }
back_up() { # back_up OLD_ID LIMIT
	local end=$((SECONDS + $2)) id
	while [ $SECONDS -lt $end ]; do
		id=$(guest_limit=5 boot_id) && [[ $id =~ ^[0-9a-f-]{36}$ ]] && [ "$id" != "$1" ] && return
		sleep 1
	done
	return 1
}

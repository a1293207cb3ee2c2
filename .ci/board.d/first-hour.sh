#!/usr/bin/env bash
# The first hour of a new owner, walked on a virtual board: every `sh` block of
# deploy/first-hour.md is typed as it stands there, by an ordinary user with sudo at
# a terminal, on a fresh system with the package beside it; the rig is played
# meanwhile, and what the terminal shows must be what the document shows. How the
# two are compared stands in first-hour.pl.
#
#   .ci/board first-hour, or .ci/board.d/first-hour.sh     about 15 minutes; needs root
#   BOARD_DEB       the package to install; else it is built
#
# It has a board of its own, BOARD_NAME=first-hour. What the board cannot do (write
# a card, be a Wi-Fi) is in blocks marked `sh elsewhere`; each of them is named
# below with the reason and with what stands for it here.
set -uo pipefail
cd "$(dirname "$0")/../.."
scripts=${BOARD_SCRIPTS:-../shared/board/scripts} port='' bport=''
export BOARD_NAME=${BOARD_NAME:-first-hour} BOARD_WAIT=${BOARD_WAIT:-400}
if [ ! -x "$scripts/boot.sh" ]; then
	echo "skipped: no virtual board at $scripts (BOARD_SCRIPTS): nobody has walked the first hour"
	exit 0
fi
tmp=$(mktemp -d) mine=''
leave() {
	[ -z "$mine" ] || "$scripts/stop.sh" >/dev/null 2>&1
	rm -rf "$tmp"
}
trap leave EXIT
. .ci/board.d/words.sh
here=.ci/board.d

# --- What cannot be done here, and what stands for it --------------------------

# elsewhere FIRST_LINE: does it and says why; a block that it does not know fails.
used=()
elsewhere() {
	local why
	used+=("$1")
	case $1 in
	'ssh kim@rig.local') why='the board has its buses on already, and kim is made at the start' ;;
	'ssh kim@rig.local sudo date'*) why='typed on a laptop; the board has the time of this machine' ;;
	'scp charwarden_'*) why='typed on a laptop'
		put "$deb" "/home/kim/$(basename "$deb")" ;;
	'sudo nano '*) why='an editor is for hands; first-hour-rig.pl is the hand'
		guest 'cat /etc/charwarden/rig.toml' >"$tmp/reference.toml"
		perl $here/first-hour-rig.pl <"$tmp/reference.toml" >"$tmp/rig.toml" || fail "$1: the reference file is not what the hand expects"
		put "$tmp/rig.toml" /root/rig.toml
		guest 'cat /root/rig.toml >/etc/charwarden/rig.toml' ;; # owner and mode stay
	'sudo nmcli '*) why='the board has no Wi-Fi: its address is put on the wire'
		guest 'ip addr add 10.42.0.1/24 dev eth0' ;;
	'scp kim@10.42.0.1:'*) why='typed on a laptop'
		"$scripts/get.sh" /home/kim/run.html "$tmp/run.html" >/dev/null
		has 'the report holds the note' 'batch 7, oak|7, oak' "$(cat "$tmp/run.html" 2>/dev/null)" ;;
	*) fail "$title: elsewhere: a block that nobody knows: $1"; return ;;
	esac
	seen "elsewhere: $1: $why"
}
elsewheres=6

# --- What the rig does ----------------------------------------------------------

ppm() { reckon "1.65 + $1 * 0.000244" 6; } # the reference file's cell: 2.44 nA/ppm into 100 kohm over 1.65 V

# plays BLOCK: lines "BEGINNING OF A LINE SHOWN <tab> COMMAND <tab> ANSWER".
plays() {
	case $1 in
	*mosquitto_passwd*) printf 'Password:\t\t%s\nReenter password:\t\t%s\n' "$secret" "$secret" ;;
	*'calibrate co span'*) printf 'Gas on now\tchips ads ain 2 %s; sleep 15\t\nGas off\tchips ads ain 2 %s\t\n' "$(ppm 100)" "$(ppm 4)" ;;
	*bumptest*) printf 'Gas on now\tchips ads ain 2 %s\t\nIt answers\tchips ads ain 2 %s\t\n' "$(ppm 151)" "$(ppm 4)" ;;
	*'ready --after'*) printf '?$\t\ty\n%.0s' 1 2 3 4 5 6 ;;
	*'charwarden ready'*) printf '?$\t\ty\n%.0s' 1 2 3 ;;
	*'charwarden watch') printf 'noted: moisture\tsetsid first-hour-fire >/dev/null 2>\&1 \&\t\nRUNNING\tsleep 75\t^C\n' ;;
	esac
}

# before BLOCK: what has come about since the block before.
before() {
	case $1 in
	*'calibrate co zero'*) chips "ads ain 2 $(ppm 4)" ;; # clean air, and an amplifier that is a little off
	*'ready --after'*)
		chips 'gpio 17 pulse 0' 'ads ain 0 1.5' 'ads ain 1 1.5' 'tc 0 temp 412..180/400' 'tc 1 temp 260..120/400'
		settled sealed 260 ;;
	*'charwarden runs'*)
		chips 'tc 0 temp 18' 'tc 1 temp 18'
		settled cold 120 ;;
	esac
}
settled() { # settled PHASE LIMIT: the daemon finds the rig to be there
	local end=$((SECONDS + $2)) is
	until is=$(guest 'runuser -l kim -c "charwarden phase"'); [[ $is == "$1 since"* ]]; do
		[ $SECONDS -lt $end ] || { fail "the rig is not $1 within $2 s: $is"; return; }
		sleep 2
	done
	ok "the rig is $1"
}

# Commands that may fail, because a thing is not good yet and they say so.
may_fail='^1 charwarden (check -c|watch --once|ready)'

# after BLOCK: what the document says of the world besides the terminal.
after() {
	local out
	case $1 in
	*'adduser kim charwarden'*) has 'kim may use the commands' '\bcharwarden\b' "$(guest 'id -nG kim')" ;;
	*'watch --once'*)
		guest "systemd-run -q --unit=rig-phone --property=StandardOutput=file:/run/phone mosquitto_sub -h 10.42.0.1 -u kim -P '$secret' -t 'charwarden/pump/notify' -t 'charwarden/pump/heartbeat' -F '%t %p'" >/dev/null
		guest "sleep 3; mosquitto_pub -h 10.42.0.1 -u kim -P '$secret' -t charwarden/pump/do/kim/ack -m 'co_zero_age_fault 1'; sleep 2" >/dev/null
		has 'the phone acknowledges' '^co_zero_age_fault .* acknowledged ' "$(guest 'runuser -l kim -c "charwarden alarms"')" ;;
	*'calibrate co span'* | *bumptest*)
		out=$(guest 'runuser -l kim -c "charwarden alarms"')
		lacks 'nothing of the test gas is left standing' '^co_(caution|alarm|evacuate|mean|stel)' "$out"
		has 'the phone hears of a test' '^charwarden/pump/notify TEST, no real gas: co_' "$(guest 'cat /run/phone')" ;;
	esac
}

# --- The walk -----------------------------------------------------------------

secret='a long word of kims own'

sudo_deb() { # the image has none, and a new owner's system does: fetched once, kept beside the image
	local at=${BOARD_IMG:-${XDG_CACHE_HOME:-$HOME/.cache}/virtual-board}/cache
	mkdir -p "$at/first-hour"
	ls "$at"/first-hour/sudo_*_arm64.deb 2>/dev/null && return
	(cd "$at/first-hour" && APT_CONFIG=$at/apt/apt.conf timeout 120 apt-get -qq download sudo) >&2
	ls "$at"/first-hour/sudo_*_arm64.deb 2>/dev/null
}

prepare() {
	local sudo
	sudo=$(sudo_deb) || { echo 'skipped: no package sudo for the board, and no mirror to get it from'; [ "${CI:-}" != true ]; exit; }
	deb=${BOARD_DEB:-}
	if [ -z "$deb" ]; then
		deploy/package/build "$tmp/deb" arm64 >"$tmp/package" 2>&1 || { cat "$tmp/package"; exit 1; }
		deb=$(echo "$tmp"/deb/charwarden_*_arm64.deb)
	fi
	mine=1
	if ! "$scripts/boot.sh" --fresh 2>&1 | tee "$tmp/boot"; then
		grep -q 'already running' "$tmp/boot" && mine='' # another run's: not ours to stop
		exit 1
	fi
	put "$sudo" /root/sudo.deb
	put $here/first-hour-run /usr/local/bin/first-hour-run
	put $here/first-hour-fire /usr/local/bin/first-hour-fire
	guest 'dpkg -i /root/sudo.deb && hostname rig && echo "127.0.1.1 rig" >>/etc/hosts &&
		useradd -m -s /bin/bash -G sudo,spi,i2c,gpio kim && echo "kim ALL=(ALL) NOPASSWD: ALL" >/etc/sudoers.d/kim &&
		mkdir -p /walk && chown kim /walk' >"$tmp/user" || { cat "$tmp/user"; exit 1; }
	chips 'tc 0 temp 18' 'tc 1 temp 18' 'ads ain 0 1.5' 'ads ain 1 1.5' "ads ain 2 $(ppm 0)" 'ina bus 5.0' 'bmp temp 16' 'bmp press 99000' 'gpio 17 pulse 0'
}

walk() { # walk NN: one block
	local name=$tmp/b/$1 text=$tmp/b/$1.text first block title said began=$SECONDS
	title=$(cat "$name.title")
	if [ -f "$name.elsewhere" ]; then
		first=$(head -n 1 "$name.elsewhere")
		elsewhere "$first"
		return
	fi
	block=$(cat "$name.sh") first=$(head -n 1 "$name.sh")
	before "$block"
	[ -f "$text" ] || : >"$text"
	plays "$block" >"$name.plays"
	perl $here/first-hour.pl steps "$text" "$name.plays" >"$name.steps"
	# What the person types must be the document's text, but for the password.
	sed "s/'your password'/'$secret'/" "$name.sh" >"$name"
	put "$name" "/walk/$1"
	put "$name.steps" "/walk/$1.steps"
	said=$(guest_limit=600 guest "first-hour-run /walk/$1 540") || fail "$title: $first: $said"
	"$scripts/get.sh" "/walk/$1.out" "$name.out" >/dev/null
	if said=$(perl $here/first-hour.pl compare "$text" "$name.out"); then
		ok "$title: $first ($((SECONDS - began)) s)"
	else
		fail "$title: $first: $said"
		sed 's/^/     /' "$name.out" | tail -n 40
	fi
	said=$(guest "grep -vE '$may_fail' /walk/$1.failed")
	[ -z "$said" ] || fail "$title: $first: a command failed: $said"
	after "$block"
}

step 'package and board'; prepare
mkdir "$tmp/b"
n=$(perl $here/first-hour.pl blocks deploy/first-hour.md "$tmp/b") || exit 1
step "$n blocks"
for i in $(seq -f %02g "$n"); do walk "$i"; done
if [ ${#used[@]} = $elsewheres ]; then ok "all $elsewheres blocks that are done elsewhere are there"; else fail "${#used[@]} blocks are done elsewhere, not $elsewheres"; fi
step 'done'; finish

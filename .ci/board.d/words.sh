# The words in which the checks on the virtual board are said. Sourced by
# .ci/board (and by whatever else drives a board); needs $scripts (the board's
# own scripts), $port and $bport (this machine's ports for the board's page and
# broker), $tmp (a folder that is deleted at the end).

passed=0 failed=0 noted=''

step() { printf '== %s (%d s)\n' "$*" "$SECONDS"; }
ok() { passed=$((passed + 1)); printf 'ok   %s\n' "$*"; }
fail() { failed=$((failed + 1)); printf 'FAIL %s\n' "$*"; }
seen() { printf '     %s\n' "$*"; } # what was measured, beside a check
finish() {
	[ $failed = 0 ] || guest 'journalctl -u charwarden -o cat --no-pager | tail -n 30' | sed 's/^/     /'
	[ -z "$noted" ] || printf '%s' "$noted"
	echo "$passed passed, $failed failed"
	[ $failed = 0 ] && exit 0
	exit 1
}

# --- The board ----------------------------------------------------------------

guest() { "$scripts/run-in-guest.sh" -t "${guest_limit:-150}" "$1" 2>&1; }
put() { "$scripts/put.sh" "$1" "$2" || exit 1; }
# rigger is the person at the rig: may use the chips, and talk to the daemon.
rigger() { guest "runuser -u rigger -- $1; echo exit \$?"; }
chips() { # chips COMMAND ...: each is one line to the chips
	local c all=
	for c; do all+="chips $c && "; done
	guest "${all}true" >"$tmp/chips" || fail "chips $*: $(tail -n 1 "$tmp/chips")"
}
number() { [[ ${1:-} =~ ^-?[0-9]+(\.[0-9]+)?$ ]]; }
reckon() { awk "BEGIN { printf \"%.${2:-1}f\", $1 }"; } # reckon EXPRESSION [DECIMALS]
true_of() { awk "BEGIN { exit !($1) }"; }               # true_of EXPRESSION

# --- What was seen, and when --------------------------------------------------

# since COMMAND: the moment at which the board ran it is where `hears` counts from.
since() {
	t0=$(guest "date +%s.%N; { $1; } >/dev/null 2>&1" | head -n 1) h0=$EPOCHREALTIME
	[[ $t0 =~ ^[0-9]+\.[0-9]+$ ]] || { fail "$1: the board did not do it: $t0"; t0=9999999999; }
}
# since_boot counts from when the board's kernel began.
since_boot() { t0=$(guest 'awk -v n="$(date +%s.%N)" "{ printf \"%.6f\", n - \$1 }" /proc/uptime') h0=$EPOCHREALTIME; }
passes() { awk -v a="$1" -v b="$EPOCHREALTIME" 'BEGIN { printf "%.1f", b - a }'; }

has() { # has NAME REGEX TEXT: a line of the text matches
	if grep -qE -- "$2" <<<"$3"; then ok "$1"; else fail "$1: no /$2/ in:"; tail -n 6 <<<"$3" | sed 's/^/     /'; fi
}
lacks() { # lacks NAME REGEX TEXT: no line of the text matches
	if grep -qE -- "$2" <<<"$3"; then fail "$1: $(grep -E -- "$2" <<<"$3" | head -n 1)"; else ok "$1"; fi
}
within() { # within NAME FIGURE LIMIT UNIT: a measured figure is at most the limit
	if number "$2" && true_of "$2 <= $3"; then ok "$1: $2 $4"; else fail "$1: '$2' $4, more than $3"; fi
}
hears() { # hears NAME LIMIT REGEX: the subscriber gets a message within LIMIT s of `since`
	if after=$(guest "hear $t0 $2 $(printf %q "$3")"); then
		ok "$1: heard after $after s"
	else
		fail "$1: ${after:+only after $after s, }not heard within $2 s: $3"
	fi
}
later() { number "$after" && t0=$(reckon "$t0 + $after" 6); } # from what was just heard on
said() { guest "journalctl -u charwarden -o cat --no-pager --since @${t0%.*}"; } # the daemon's log since then

page() { curl -fsS -m 3 "http://127.0.0.1:$port/metrics" 2>&1; }
sample() { awk -v k="$1" '$1 == k { print $2 }' <<<"$2"; } # sample SERIES PAGE
near() { awk -v v="${1:-nan}" -v w="$2" -v t="$3" 'BEGIN { exit !(v >= w - t && v <= w + t) }'; } # near VALUE WANT TOLERANCE
shows() { # shows NAME LIMIT REGEX: this machine's page has such a line within LIMIT s of `since`
	local text
	while :; do
		text=$(page)
		grep -qE -- "$3" <<<"$text" && { ok "$1: on the page after $(passes "$h0") s"; return; }
		awk -v t="$(passes "$h0")" -v l="$2" 'BEGIN { exit t <= l }' && { fail "$1: not on the page within $2 s: $3"; return; }
		sleep 0.2
	done
}
hides() { # hides NAME REGEX: this machine's page is there and has no such line
	local text; text=$(page)
	if ! grep -q '^charwarden_ticks_total' <<<"$text"; then fail "$1: no page: $text"; return; fi
	lacks "$1" "$2" "$text"
}
standing() { echo "^charwarden_alarm_state\{alarm=\"$1\",priority=\"[a-z]+\",state=\"unacknowledged\"\} 1"; }
over() { # over NAME ALARM: its condition is gone, within 90 s of `since`
	shows "$1" 90 "^charwarden_alarm_state\{alarm=\"$2\",priority=\"[a-z]+\",state=\"(normal|returned|latched|latched_acknowledged)\"\} 1"
}
up() { echo "^charwarden_channel_up\{channel=\"$1\"\} $2"; }
alarm() { echo "charwarden/pump/alarm/$1 .*\"state\":\"$2\""; }
reading() { echo "charwarden/pump/reading/$1 .*\"status\":\"$2\""; }

# columns of `check` without the value: what must not depend on who was asked.
columns() { grep -E ' (good|fault|missing) ' <<<"$1" | awk -F '  +' '{ print $1 "|" $2 "|" $3 "|" $4 }'; }

# one NAME: an alarm as `alarms --json` has it, without what is measured anew.
one() { rigger 'charwarden alarms --json' | tr -d '\n' | sed 's/}/}\n/g' | grep -F "\"name\":\"$1\"" | sed -E 's/"value":[^,}]*//; s/^[[,]*//'; }

# --- The output lines of rig.toml: changes of level that their far ends saw -----

permit=16 horn=22 pulse=26
beats() { # beats NAME LINE: one edge a tick of 100 ms, with two ticks late or missed
	local low high n
	read -r low high n < <(guest "edges 3 $2")
	if awk -v l="${low:-9}" -v h="${high:-0}" -v n="${n:-0}" 'BEGIN { exit !(n >= 10 * l - 3 && n <= 10 * h + 3) }'; then
		ok "$1: $n edges in $low to $high s"
	else
		fail "$1: '$n' edges in '$low' to '$high' s, not one a tick"
	fi
}
sounds() { # sounds NAME: the horn's line changes within 6 s, longer than the longest pause of a pattern
	local low high n
	read -r low high n < <(guest "edges 6 $horn")
	if [ "${n:-0}" -gt 0 ]; then ok "$1: $n edges in $high s"; else fail "$1: '$n' edges in '$high' s"; fi
}
rests() { # rests NAME COMMAND SECONDS LINE ...: no edge from one tick after COMMAND
	local name=$1 did=$2 t=$3 low high n; shift 3
	read -r low high n < <(guest "{ $did; } >/dev/null 2>&1; sleep 0.1; edges $t $*" | tail -n 1)
	if [[ "$n" =~ ^0(\ 0)*$ ]]; then ok "$name: no edge in $low s"; else fail "$name: '$n' edges in '$high' s on lines $*"; fi
}

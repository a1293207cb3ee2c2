# part adc: three inputs far apart, a converter whose clock is off: no value in another's channel

part_adc() {
	watching
	chips 'ads ain 0 2.3' 'ads ain 1 0.42' 'ads ain 2 1.3' # 1800 Pa, 20 ppm, 400 Pa
	sleep 3
	# 10 % either way are the ends of its data sheet.
	off_clock 'slow converter' 9
	off_clock 'fast converter' -9
	chips 'ads clk 0' 'ads ain 0 0.8' 'ads ain 1 0.405'
}

off_clock() { # off_clock NAME PERCENT
	local out bad=0 n=0 c v want tol off
	since "chips ads clk $2"
	for _ in $(seq 20); do
		out=$(page)
		while read -r c want tol; do
			v=$(sample "$c" "$out"); n=$((n + 1))
			near "$v" "$want" "$tol" || { bad=$((bad + 1)); seen "$c is '$v', not $want"; }
		done <<-'E'
			charwarden_pressure_pascals{channel="suction"} 1800 5
			charwarden_co_ppm{channel="co"} 20 1
			charwarden_pressure_pascals{channel="filter_drop"} 400 5
		E
		sleep 1
	done
	if [ $bad = 0 ]; then ok "$1: $n values, each in its own channel"; else fail "$1: $bad of $n values"; fi
	off=$(guest "awk -v t=$t0 '\$1 >= t' /run/rig/heard | grep -aE 'reading/(suction|filter_drop|co) |alarm/(co|suction|filter_drop)_' | grep -avE 'suction [{]\"value\":1(79[5-9]|80[0-5])[.,]|filter_drop [{]\"value\":(39[5-9]|40[0-5])[.,]|co [{]\"value\":(19|20)[.,]'")
	if [ -z "$off" ]; then ok "$1: nothing else heard"; else fail "$1: heard $(head -n 1 <<<"$off")"; fi
}

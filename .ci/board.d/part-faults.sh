# part faults: chips that do not answer, errors and hangs of both buses, a noisy converter, a sagging supply

analog='suction co filter_drop' air='air_temp air_pressure'

part_faults() {
	watching
	# What comes a few times is ridden over: no alarm, and the reading is back.
	unnoticed 'ADC refused 3 times' 'i2c nack 0x48 3' $analog
	unnoticed 'INA219 refused 2 times' 'i2c nack 0x40 2' supply
	unnoticed 'BMP280 refused 2 times' 'i2c nack 0x76 2' $air
	unnoticed 'I2C: EIO 3 times' 'i2c err EIO 3' $on_i2c
	unnoticed 'SPI: EIO 3 times' 'spi err EIO 3' wall_near gas_out
	unnoticed 'I2C held once for 1 s' 'i2c hang 1 1' $on_i2c
	unnoticed 'SPI held once for 1 s' 'spi hang 1 1' wall_near gas_out

	# What stays is a fault within 5 s, and only of those that have it.
	faulty 'ADC refuses' 'i2c nack 0x48 on' no_answer 'i2c nack 0x48 off' $analog
	faulty 'INA219 refuses' 'i2c nack 0x40 on' no_answer 'i2c nack 0x40 off' supply
	faulty 'BMP280 refuses' 'i2c nack 0x76 on' no_answer 'i2c nack 0x76 off' $air
	faulty 'I2C: EIO' 'i2c err EIO on' no_answer 'i2c ok' $on_i2c
	faulty 'I2C: EREMOTEIO' 'i2c err EREMOTEIO on' no_answer 'i2c ok' $on_i2c
	faulty 'I2C: ETIMEDOUT' 'i2c err ETIMEDOUT on' no_answer 'i2c ok' $on_i2c
	faulty 'SPI: EIO' 'spi err EIO on' no_answer 'spi ok' wall_near gas_out
	faulty 'SPI: ETIMEDOUT' 'spi err ETIMEDOUT on' no_answer 'spi ok' wall_near gas_out
	faulty 'SPI held' 'spi hang 100000 on' '(stale|no_answer)' 'spi ok' wall_near gas_out

	a_minute
	dark
	noise
	sag
	wrong_chip
}

# others CHANNEL ...: those that are not named.
others() {
	local ch
	for ch in $channels; do [[ " $* " == *" $ch "* ]] || echo "$ch"; done
}

# unnoticed NAME CHIPS CHANNEL ...: a burst that heals by itself raises nothing.
unnoticed() {
	local name=$1 cmd=$2 ch text; shift 2
	since "chips $cmd"
	guest 'sleep 6' >/dev/null # longer than a fault may stay unsaid
	text=$(guest "awk -v t=$t0 '\$1 >= t' /run/rig/heard")
	lacks "$name: no alarm" 'charwarden/pump/alarm/.*"state":"unacknowledged"' "$text"
	text=$(page)
	for ch; do grep -qE "$(up "$ch" 1)" <<<"$text" || { fail "$name: $ch is not back"; return; }; done
	ok "$name: ${*} back within 6 s"
}

# faulty NAME CHIPS WORD MEND CHANNEL ...
faulty() {
	local name=$1 cmd=$2 word=$3 mend=$4 ch text gone=''; shift 4
	since "chips $cmd"
	for ch; do hears "$name: $ch" 5 "$(reading "$ch" "$word")"; done
	for ch; do hears "$name: ${ch}_fault" 5 "$(alarm "${ch}_fault" unacknowledged)"; done
	text=$(page)
	for ch; do
		has "$name: $ch is down" "$(up "$ch" 0)" "$text"
		lacks "$name: no sample of $ch" "^charwarden_[a-z_]+\{channel=\"$ch\"\} " "$(grep -vE '^charwarden_channel_' <<<"$text")"
	done
	for ch in $(others "$@"); do grep -qE "$(up "$ch" 1)" <<<"$text" || gone+=" $ch"; done
	if [ -z "$gone" ]; then ok "$name: the others go on"; else fail "$name: these went too:$gone"; fi
	mended "$name" "chips $mend" "$@"
}

# mended NAME COMMAND CHANNEL ...
mended() {
	local name=$1 cmd=$2 ch; shift 2
	since "$cmd"
	for ch; do shows "$name: $ch is back" 10 "$(up "$ch" 1)"; done
	for ch; do hears "$name: ${ch}_fault returned" 18 "$(alarm "${ch}_fault" '(returned|latched)')"; done
	quiet
}

# a_minute: one transfer lasts for 60 s, because the kernel's own limit is off.
a_minute() {
	local ch text limit=/sys/module/vboard/parameters/i2c_timeout_ms
	since "echo 0 >$limit; chips i2c hang 60 1"
	for ch in $on_i2c; do hears "I2C held for 60 s: $ch" 5 "$(reading "$ch" stale)"; done
	for ch in $on_i2c; do hears "I2C held for 60 s: ${ch}_fault" 6 "$(alarm "${ch}_fault" unacknowledged)"; done
	hears 'I2C held for 60 s: the bus is named' 10 "$(alarm bus_stall_caution unacknowledged)"
	text=$(page)
	for ch in $(others $on_i2c); do has "I2C held for 60 s: $ch goes on" "$(up "$ch" 1)" "$text"; done
	sleep "$(awk -v t="$(passes "$h0")" 'BEGIN { print (t < 60) ? 60 - t : 0 }')"
	mended 'I2C held for 60 s' "echo 1000 >$limit" $on_i2c
}

# dark: every chip loses its power, and the settings it was given.
dark() {
	local ch all="wall_near gas_out $on_i2c"
	since 'systemctl stop vboard-chips'
	for ch in $all; do hears "chips without power: $ch" 5 "$(reading "$ch" '(no_answer|stale)')"; done
	for ch in $all; do hears "chips without power: ${ch}_fault" 6 "$(alarm "${ch}_fault" unacknowledged)"; done
	powered
	mended 'chips with power again' true $all
}

# noise: 3 mV on the converter's inputs is 3 Pa and 3 ppm. No reading may go.
noise() {
	local text ch
	since 'chips ads noise 0.003'
	guest 'sleep 10' >/dev/null
	text=$(guest "awk -v t=$t0 '\$1 >= t' /run/rig/heard")
	lacks 'noisy converter: no alarm' 'charwarden/pump/alarm/.*"state":"unacknowledged"' "$text"
	lacks 'noisy converter: no fault' 'reading/(suction|co|filter_drop) .*"status":"[^g]' "$text"
	chips 'ads noise 0'
}

sag() {
	since 'chips ina bus 4.6'
	hears 'supply at 4.6 V: supply_low' 15 "$(alarm supply_low unacknowledged)"
	shows 'supply at 4.6 V: the page says it' 15 '^charwarden_supply_volts\{channel="supply"\} 4\.(599|600)'
	since 'chips ina bus 5.02'
	hears 'supply at 5.02 V: supply_low returned' 25 "$(alarm supply_low returned)"
	quiet
}

# wrong_chip: something answers at the air sensor's address that is none.
wrong_chip() {
	chips 'stub 0x77 add'
	configured 's/^address = 0x76/address = 0x77/'
	since 'systemctl restart charwarden'
	hears 'wrong chip: birth' 30 'charwarden/pump/status watching since '
	hears 'wrong chip: air_temp' 30 "$(reading air_temp no_answer)"
	has 'wrong chip: check says which chip it wants' '^air_temp: .*chip id' "$(rigger "charwarden check -c $toml")"
	configured
	since 'systemctl restart charwarden'
	hears 'right chip: birth' 30 'charwarden/pump/status watching since '
	shows 'right chip: air_temp is up' 30 "$(up air_temp 1)"
	quiet
}

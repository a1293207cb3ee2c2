# part wires: every way in which a couple's wires or its chip can fail

part_wires() {
	local f
	watching
	for f in 'fault oc:open' 'fault scg:short_gnd' 'fault scv:short_vcc' 'miso low:no_answer' 'miso high:no_answer'; do
		since "chips tc 1 ${f%:*}"
		hears "${f%:*}: ${f#*:}" 5 "$(reading gas_out "${f#*:}")"
		hears "${f%:*}: gas_out_fault" 5 "$(alarm gas_out_fault unacknowledged)"
		hides "${f%:*}: no sample" '^charwarden_temperature_celsius\{channel="gas_out"\}'
		since 'chips tc 1 fault none; chips tc 1 miso ok'
		hears "${f%:*}: healed" 5 "$(reading gas_out good)"
		hears "${f%:*}: gas_out_fault returned" 18 "$(alarm gas_out_fault returned)"
	done
	quiet
}

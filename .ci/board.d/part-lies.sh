# part lies: (5 min) 5 power cuts with a card that says 3 s too early that it has stored

# What such a card loses is its maker's: 3 s more of rows, and what was told in
# them. What must hold is that the watch starts again and says so.
part_lies() {
	local i
	cut_begin
	# The card is chosen when the board starts.
	"$scripts/stop.sh" >/dev/null
	export BOARD_LIE=3s BOARD_SEED=101
	"$scripts/boot.sh" || { fail 'the board does not start with a lying card'; return; }
	at_rest
	up_again >/dev/null || fail 'a lying card: the unit does not start by itself'
	for i in $(seq "${BOARD_LIES:-5}"); do one_cut "$((100 + i))" 8 liar; done
	cut_end
}

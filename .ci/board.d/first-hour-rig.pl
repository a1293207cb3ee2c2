# The owner's hand in the reference file: what the document says of it, for the rig
# that the virtual board plays. Two thermocouples, the second on the port's other
# select; a chip of the air that has no humidity; the board has no thermometer.
undef $/;
$_ = <STDIN>;
for my $name (qw(wall_far filter_in filter_out return_line)) {
	s/\[\[thermocouple\]\]\nchannel = "$name".*?\n\n//s or die "no table of $name\n";
}
s/^hot_with = .*\n//mg or die "no hot_with\n";
s/(channel = "gas_out"[^\[]*?)port = "\/dev\/spidev0\.0"\nselect = "GPIO13"\n/$1port = "\/dev\/spidev0.1"\n/s or die "no gas_out\n";
s/^humidity = .*\n//m or die "no humidity\n";
s/^thermal = "[^"]*"/thermal = ""/m or die "no thermal\n";
print;

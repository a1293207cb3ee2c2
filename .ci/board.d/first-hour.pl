# first-hour.pl blocks FILE DIR: takes the fenced blocks of the document apart. DIR
#   gets NN.sh, NN.elsewhere or neither, NN.text (what the document shows after it)
#   and NN.title; a fence of any other kind is an error.
# first-hour.pl steps TEXT PLAYS: what the person does, from what the document shows:
#   a question gets the answer that stands behind it, "Press Enter" gets Enter.
#   PLAYS has lines "BEGINNING OF A LINE <tab> COMMAND <tab> ANSWER": what the rig
#   does when that line is shown, and an answer that the document leaves out.
# first-hour.pl compare TEXT OUT: each line of TEXT must come in OUT, in this order.
#   A number that stands free may be another number, blanks may be other blanks,
#   and ... is anything. "GPIO5" and "0x48" are no free numbers.
use strict;
use warnings;
binmode STDOUT, ':utf8';

sub lines { my ($file) = @_; open my $f, '<:utf8', $file or die "$file: $!\n"; my @l = <$f>; chomp @l; return @l }

sub blocks {
	my ($file, $dir) = @_;
	my ($n, $kind, $title, @body) = (0, '', '');
	for (lines($file)) {
		if ($kind eq '') {
			$title = $1 if /^#+ (.*)/;
			next unless /^```(.*)/;
			$kind = $1;
			@body = ();
			die "$title: a block of kind \"$kind\": want sh, sh elsewhere or text\n" unless $kind =~ /^(sh|sh elsewhere|text)$/;
		} elsif (/^```/) {
			$n++ unless $kind eq 'text';
			my $end = { 'sh' => 'sh', 'sh elsewhere' => 'elsewhere', 'text' => 'text' }->{$kind};
			my $name = sprintf '%s/%02d', $dir, $n;
			for my $part ([$end, join('', map { "$_\n" } @body)], ['title', "$title\n"]) {
				open my $f, '>:utf8', "$name.$part->[0]" or die "$name: $!\n";
				print $f $part->[1];
			}
			$kind = '';
		} else {
			push @body, $_;
		}
	}
	die "a block is not closed\n" if $kind ne '';
	print "$n\n";
}

sub steps {
	my ($text, $plays) = @_;
	my @plays = map { [split /\t/, $_, 3] } lines($plays);
	for my $line (lines($text), map { $_->[0] } grep { $_->[0] eq '?$' } @plays) {
		my ($wait, $answer) = ($line, '-');
		if ($line eq '?$') { }
		elsif ($line =~ /^(.*\[Y\/n\]) (\S+)$/ || $line =~ /^\s+(.*\?) (\S.*)$/) { ($wait, $answer) = ($1, $2) }
		elsif ($line =~ /Press Enter/) { $answer = '' }
		my ($play) = grep { index($line, $_->[0]) == 0 } @plays;
		next unless $play || $answer ne '-';
		$answer = $play->[2] if $play && $play->[2] ne '';
		print join("\x1f", $play && $line ne '?$' ? $play->[0] : $wait, $play ? $play->[1] : '', $answer), "\n";
	}
}

sub compare {
	my ($text, $out) = @_;
	my $all = join "\n", lines($out);
	$all =~ s/\e[78]/\n/g; # the cursor goes elsewhere, as in apt's bar
	$all =~ s/\e\[[0-9;?]*[A-Za-z]//g;
	my @got = split /[\r\n]+/, $all;
	my $at = 0;
	for my $line (grep { $_ ne '...' } lines($text)) {
		my $re = '';
		while ($line =~ /\G(?:(\.\.\.)|(\s+)|((?<![\w.\/-])-?\d+(?:\.\d+)?(?!\w)|(?<=\d[-:])\d+(?!\w))|(.))/g) {
			$re .= defined $1 ? '.*' : defined $2 ? '\s+' : defined $3 ? '-?\d+(?:\.\d+)?' : quotemeta $4;
		}
		$re =~ s/^\\s\+//;
		my $i = $at;
		$i++ while $i < @got && $got[$i] !~ /^\s*$re\s*$/;
		if ($i == @got) {
			print "not shown: $line\n";
			exit 1;
		}
		$at = $i + 1;
	}
}

my $do = shift;
{ blocks => \&blocks, steps => \&steps, compare => \&compare }->{$do}->(@ARGV);

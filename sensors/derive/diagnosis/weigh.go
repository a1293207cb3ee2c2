package diagnosis

import "math"

// chance is how likely a mark is under an expectation. What should not move is
// the less likely off the further it is: by a factor e in 3 spreads, and in 7
// where nothing is said of it.
func (e expect) chance(m mark) float64 {
	d, s, u := m.shares()
	p := &chances[e]
	v := d*p[0] + s*p[1] + u*p[2]
	over := max(0, math.Abs(m.z)-moved)
	switch e {
	case steady:
		return v * math.Exp(-over/3)
	case open:
		return v * math.Exp(-over/7)
	}
	return v
}

// speech is what every mark says for each expectation and against a rig without
// fault: ln(P(mark | expected) / P(mark | steady)), P being chance. An unknown
// mark says nothing: 0.
type speech [signs][expects]float64

func (p *speech) hear(s *Signs) {
	for i, m := range s {
		p[i] = [expects]float64{}
		if !m.known() {
			continue
		}
		well := math.Log(steady.chance(m))
		for e := range expects {
			p[i][e] = math.Log(e.chance(m)) - well
		}
	}
}

// odds is the logarithm of the odds of a cause against a rig without fault: that
// of the priors, and the sum of what all marks say, each with its weight.
func (p *speech) odds(c Cause) float64 {
	sum := signatures[c].prior - health
	for i := range p {
		k := &wants[c][i]
		sum += k.weight * p[i][k.want]
	}
	return sum
}

// judge says how a cause's own clues stand: denied, if one has moved that should
// not have or the other way; how many witnesses moved as it says, a place of
// measurement each; and whether one of them is a sign that hardly anything else
// makes.
func judge(c Cause, s *Signs) (denied, decided bool, witnesses int) {
	var seen [inputs]bool
	for _, k := range signatures[c].clues {
		m := s[k.sign]
		if !m.known() {
			continue
		}
		chance := k.want.chance(m)
		switch _, still, _ := m.shares(); {
		case still < 0.3 && chance < 0.12:
			denied = true
		case still < 0.5 && chance > 0.3:
			decided = decided || k.weight >= 2
			if w := tellings[k.sign].witness; !seen[w] {
				seen[w] = true
				witnesses++
			}
		}
	}
	return denied, decided, witnesses
}

package diagnosis

import (
	"fmt"
	"sort"
	"time"
)

// The least certainty of each word, 0..1.
const (
	possible = 0.15
	likely   = 0.60
	nearly   = 0.93
)

// Word is how certain a cause is.
type Word uint8

const (
	Possible Word = iota
	Likely
	NearlyCertain
)

// String returns the word that the outside sees.
func (w Word) String() string {
	switch w {
	case Possible:
		return "possible"
	case Likely:
		return "likely"
	case NearlyCertain:
		return "nearly_certain"
	}
	return fmt.Sprintf("word(%d)", uint8(w))
}

// Finding is a cause that the readings speak for.
type Finding struct {
	Cause     Cause
	Certainty float64    // 0..1, from 0.15: the share of this cause in all, as far as the table goes
	For       []Evidence // what speaks for it, the strongest first
	Against   []Evidence // what speaks against it, the strongest first
	First     string     // what to do first
	Since     time.Time  // when it became possible
}

// Word returns the certainty as a word.
func (f *Finding) Word() Word {
	switch {
	case f.Certainty >= nearly:
		return NearlyCertain
	case f.Certainty >= likely:
		return Likely
	}
	return Possible
}

// Evidence is one sign that speaks for a cause or against it.
type Evidence struct {
	Sign   Sign
	Off    float64 // from the usual, in the sign's unit
	Z      float64 // the same in spreads
	Weight float64 // the logarithm by which it moves the odds; below 0 against
	mark   mark
}

// String puts it in words.
func (e Evidence) String() string { return e.Sign.tell(e.mark) }

// slight is the weight below which a sign is not worth telling.
const slight = 0.3

// evidence parts the signs into what speaks for a cause and against it. What a
// cause says should move and has not speaks against it, although it has not
// moved.
func evidence(c Cause, s *Signs) (pro, contra []Evidence) {
	var p speech
	p.hear(s)
	for _, k := range signatures[c].clues {
		m := s[k.sign]
		w := k.weight * p[k.sign][k.want]
		e := Evidence{k.sign, m.off, m.z, w, m}
		switch {
		case w > slight:
			pro = append(pro, e)
		case w < -slight:
			contra = append(contra, e)
		}
	}
	sort.SliceStable(pro, func(i, j int) bool { return pro[i].Weight > pro[j].Weight })
	sort.SliceStable(contra, func(i, j int) bool { return contra[i].Weight < contra[j].Weight })
	return pro, contra
}

// Verdict is what the findings come to.
type Verdict uint8

const (
	NotEnough Verdict = iota // too little is measured or learned yet to tell
	Nothing                  // all is as this rig usually is
	Unclear                  // something is not, and no cause stands out
	Named                    // a cause is likely, or more
)

// String returns the word that the outside sees.
func (v Verdict) String() string {
	switch v {
	case NotEnough:
		return "not_enough"
	case Nothing:
		return "nothing"
	case Unclear:
		return "unclear"
	case Named:
		return "named"
	}
	return fmt.Sprintf("verdict(%d)", uint8(v))
}

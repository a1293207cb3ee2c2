package names

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Topics builds the MQTT topics of one rig, all below <prefix>/<rig>:
//
//	status                retained, also the will
//	heartbeat
//	reading/<channel>     retained
//	alarm/<name>          retained
//	summary               retained
//	notify
//	events
//	do/<person>/<verb>    commands to the daemon, never retained
//
// The zero value is no rig; make one with NewTopics.
type Topics struct {
	base string // "charwarden/pump"
}

// NewTopics returns the topics of rig below prefix. The prefix may have several
// levels ("site/charwarden"), the rig is one level. Neither may be empty, nor
// hold a wildcard, a control character or an empty level, nor begin with $
// (OASIS MQTT 3.1.1, section 4.7).
func NewTopics(prefix, rig string) (Topics, error) {
	for l := range strings.SplitSeq(prefix, "/") {
		if err := level(l); err != nil {
			return Topics{}, fmt.Errorf("topic prefix: %q: %w", prefix, err)
		}
	}
	if err := level(rig); err != nil {
		return Topics{}, fmt.Errorf("rig name: %q: %w", rig, err)
	}
	return Topics{base: prefix + "/" + rig}, nil
}

// maxLevel is the longest topic level in bytes that is taken from outside.
const maxLevel = 64

// level says what is wrong with s as one level of a topic, nil if nothing is.
func level(s string) error {
	switch {
	case s == "":
		return fmt.Errorf("empty topic level")
	case len(s) > maxLevel:
		return fmt.Errorf("topic level longer than %d bytes", maxLevel)
	case !utf8.ValidString(s):
		return fmt.Errorf("not UTF-8")
	case s[0] == '$':
		return fmt.Errorf("a topic level that begins with $ belongs to the broker")
	case strings.ContainsAny(s, "/+#"):
		return fmt.Errorf("one of / + # inside a topic level")
	case strings.ContainsFunc(s, func(r rune) bool { return !unicode.IsPrint(r) }):
		return fmt.Errorf("a character that cannot be printed")
	}
	return nil
}

// Status is whether anybody is watching.
func (t Topics) Status() string { return t.base + "/status" }

// Heartbeat comes every 2 s while somebody is watching.
func (t Topics) Heartbeat() string { return t.base + "/heartbeat" }

// Reading is the newest reading of a channel.
func (t Topics) Reading(channel string) string { return t.base + "/reading/" + channel }

// Alarm is the present state of an alarm.
func (t Topics) Alarm(name string) string { return t.base + "/alarm/" + name }

// Summary is the rig in one object.
func (t Topics) Summary() string { return t.base + "/summary" }

// Diagnosis is what may be wrong with the rig.
func (t Topics) Diagnosis() string { return t.base + "/diagnosis" }

// Notify is for people: plain lines.
func (t Topics) Notify() string { return t.base + "/notify" }

// Events is for programs: one object per change of an alarm.
func (t Topics) Events() string { return t.base + "/events" }

// Do is the filter that the daemon subscribes to: any command of any person.
func (t Topics) Do() string { return t.base + "/do/+/+" }

// Command is the topic to which person sends verb.
func (t Topics) Command(person, verb string) string {
	return t.base + "/do/" + person + "/" + verb
}

// ParseDo is the inverse of Command. It is not ok for any other topic, for an
// empty, overlong or unprintable person, and for a verb that is not one word of
// lower-case letters; it does not judge whether such a verb exists.
func (t Topics) ParseDo(topic string) (person, verb string, ok bool) {
	rest, found := strings.CutPrefix(topic, t.base+"/do/")
	if !found {
		return "", "", false
	}
	person, verb, found = strings.Cut(rest, "/")
	if !found || level(person) != nil || level(verb) != nil {
		return "", "", false
	}
	if strings.ContainsFunc(verb, func(r rune) bool { return r < 'a' || r > 'z' }) {
		return "", "", false
	}
	return person, verb, true
}

package mqtt

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"charwarden/cmd/internal/names"
)

// Command is what a person asked for by phone. That it was this person is
// proved by the broker's login and access rules, not here.
type Command struct {
	Person string
	Verb   string // ack, silence or note
	Text   string // of ack: see ParseAck; of note: the note; of silence: ""
	At     time.Time
}

const maxPayload = 256 // bytes of a command

// parseCommand refuses whatever is not plainly a command of the three verbs.
func parseCommand(t names.Topics, topic string, payload []byte, retained bool, at time.Time) (Command, error) {
	person, verb, ok := t.ParseDo(topic)
	c := Command{Person: person, Verb: verb, At: at}
	switch {
	case retained: // it would be obeyed again at every connect
		return Command{}, errors.New("retained: a command must not be")
	case !ok:
		return Command{}, errors.New("topic: want do/PERSON/VERB")
	}
	switch verb {
	case "silence": // the horn does not ask what for
		return c, nil
	case "ack", "note":
	default:
		return Command{}, fmt.Errorf("verb: %q: want ack, silence or note", verb)
	}
	if len(payload) > maxPayload {
		return Command{}, fmt.Errorf("payload: %d bytes: at most %d", len(payload), maxPayload)
	}
	if !utf8.Valid(payload) {
		return Command{}, errors.New("payload: not UTF-8")
	}
	c.Text = strings.TrimSpace(string(payload)) // phones like to add a newline
	if strings.ContainsFunc(c.Text, func(r rune) bool { return !unicode.IsPrint(r) }) {
		return Command{}, errors.New("payload: a character that cannot be printed")
	}
	return c, nil
}

// ParseAck takes the text of an acknowledgement apart: the alarm's name, one
// space, and which occurrence of it the person saw, from 1.
func ParseAck(text string) (name string, seq uint64, err error) {
	name, number, ok := strings.Cut(text, " ")
	if !ok || name == "" {
		return "", 0, errors.New("ack: want NAME SEQ, as in: wall_near_stop 3")
	}
	for _, r := range name { // as alarms are named
		if r != '_' && (r < 'a' || r > 'z') && (r < '0' || r > '9') {
			return "", 0, errors.New("ack: name: want letters a-z, digits and _ only")
		}
	}
	seq, err = strconv.ParseUint(number, 10, 64)
	if err != nil || seq == 0 || number[0] == '0' {
		return "", 0, errors.New("ack: seq: want the number at the end of the alarm's line, from 1")
	}
	return name, seq, nil
}

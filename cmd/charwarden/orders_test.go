package main

import (
	"encoding/json"
	"testing"
)

// What one decoder takes it takes again from its own writing, unchanged.
func roundTrip[T interface {
	order
	comparable
}](t *testing.T, body []byte) {
	o, err := decodeOrder[T](body)
	if err != nil {
		return
	}
	if err := o.check(); err != nil {
		t.Fatalf("%q: taken although %v", body, err)
	}
	again, err := json.Marshal(o)
	if err != nil {
		t.Fatal(err)
	}
	if back, err := decodeOrder[T](again); err != nil || back != o {
		t.Fatalf("%q: %+v, then %q: %+v, %v", body, o, again, back, err)
	}
}

func FuzzOrder(f *testing.F) {
	for _, s := range []string{
		``, `{}`, `null`, `[]`, `{"alarm":"co_alarm"}`, `{"alarm":"co_alarm","seconds":600}`, `{"alarm":"a","seconds":1e400}`,
		`{"alarm":"co_fault","reason":"cell is ordered"}`, `{"phase":"auto"}`, `{"text":"é"}`, `{"text":"\u2028"}`,
		`{"channel":"co","what":"span","reference":50}`, `{"channel":"co","ppm":1e-300}`, `{"ALARM":"a","alarm":"b"}`, "{\"alarm\":\"\xff\"}",
	} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, body []byte) {
		roundTrip[bare](t, body)
		roundTrip[named](t, body)
		roundTrip[shelfOrder](t, body)
		roundTrip[outOrder](t, body)
		roundTrip[phaseOrder](t, body)
		roundTrip[noteOrder](t, body)
		roundTrip[calOrder](t, body)
		roundTrip[testOrder](t, body)
	})
}

package diagnosis

import (
	"encoding/json"
	"testing"
)

// Whatever was kept, what is restored can be kept again, as it is.
func FuzzRestore(f *testing.F) {
	r := &Reference{}
	r.anew()
	text, err := json.Marshal(r.Keep())
	if err != nil {
		f.Fatal(err)
	}
	f.Add(text)
	f.Add([]byte(`{"signs":{"co_stopped":{}}}`)) // an empty line must not wipe what needs no learning
	f.Add([]byte(`{"signs":{"wall_near":{"line":{"n":-1,"xx":1e308},"stray":-2}},"filter":{"n":1e99},"flow":{"n":3,"y":1}}`))
	f.Fuzz(func(t *testing.T, text []byte) {
		var k Kept
		if json.Unmarshal(text, &k) != nil {
			return
		}
		d := New()
		d.Restore(k)
		again, err := json.Marshal(d.Keep())
		if err != nil {
			t.Fatal(err)
		}
		var back Kept
		if err := json.Unmarshal(again, &back); err != nil {
			t.Fatal(err)
		}
		e := New()
		e.Restore(back)
		if e.ref != d.ref {
			t.Errorf("%s\nis not what was kept", again)
		}
	})
}

package config

import "charwarden/alarms"

// ladder warns of an alarm of the file that stands on the wrong rung: it comes
// no sooner than one of the same channel that calls louder, so that it warns of
// nothing.
func (t *table) ladder(r *alarms.Rule, all []alarms.Rule) {
	if r.Kind != alarms.Above && r.Kind != alarms.Below || !t.has("limit") {
		return
	}
	ch := t.f.channels[r.Channel]
	for i := range all {
		q := &all[i]
		late := r.Kind == alarms.Above && r.Limit >= q.Limit || r.Kind == alarms.Below && r.Limit <= q.Limit
		if q.Channel == r.Channel && q.Kind == r.Kind && q.Priority > r.Priority && late {
			show := func(v float64) string { return Display{}.Format(ch.Quantity, v) }
			t.warn("limit", "%s comes at %s, no sooner than %s at %s: are the two mixed up?", r.Name, show(r.Limit), q.Name, show(q.Limit))
			return
		}
	}
}

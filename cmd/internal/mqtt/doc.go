// Package mqtt tells the outside what the rig does, over an MQTT 3.1.1 broker,
// and takes the few commands that a phone may send. Topics are those of
// names.Topics; all times are UTC.
//
//	topic            QoS retained  payload
//	status           1   yes       "watching since 2026-05-03T09:12:00Z"; will: "WATCH LOST: nobody is watching the rig"
//	heartbeat        0   no        "beat 42 at 2026-05-03T09:13:24Z", counted from 1
//	reading/CHANNEL  0   yes       {"value":655.25,"unit":"degC","status":"good","time":"2026-05-03T09:12:01.250Z","boot":"…","mono_s":84.31}
//	alarm/NAME       1   yes       {"name":…,"channel":…,"priority":…,"state":…,"value":…,"limit":…,"unit":…,"since":…,"seq":…,"means":…,"do_first":…}
//	summary          1   yes       {"worst":"alarm","standing":{"alarm":1,…},"states":{"normal":11,…},"phase":"running","version":…}
//	diagnosis        1   yes       [{"cause":"tar","certainty":"likely","score":0.8,"means":…,"for":[…],"against":[…],"do_first":…,"since":…}], [] for none
//	notify           1   no        one line for a person; of three and more faults by one cause within 3 s, one line
//	events           1   no        {"time":…,"boot":…,"mono_s":…,"alarm":…,"channel":…,"from":…,"to":…,"priority":…,"value":…,"limit":…,"unit":…,"seq":…}
//
// A reading says beside that "at_least":true where its value is a lower bound,
// and "uncertainty", the half width of it in its unit, where one is stated.
//
// What does not apply is null. value of a reading is null unless its status is
// good; value of an alarm is the one at its last change or at the last
// connect. A reading is sent when it moved by more than the display deadband
// or changed its status, at most once a second, and at the latest after
// Opts.Refresh; that it is live is said by the heartbeat.
//
// Everything here is earned by a finished tick of the loop: heartbeat, birth
// and state are sent on Update and at no other time. A loop that hangs falls
// silent, and nobody hears "watching" from a daemon that never looked.
//
// Who waits for whom: Update copies and leaves. Run owns the client and all
// that was said. Of state the newest wins; transitions wait in a queue of 256
// of which the oldest is dropped and counted. Nothing is handed to the client
// while the connection is down, and at most 64 messages wait for the broker's
// confirmation. Timers of the network (keep-alive, retries, confirmations) run
// on real time even where Opts.Clock runs faster.
package mqtt

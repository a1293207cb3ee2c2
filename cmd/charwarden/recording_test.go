package main

import (
	"encoding/csv"
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"
	"time"

	"charwarden/sensors"
)

var twoChannels = map[string]bool{"co": true, "wall_near": true}

func TestBrokenRecordings(t *testing.T) {
	const head = "seconds,channel,value,fault\n"
	for _, c := range []struct{ text, want string }{
		{"", "r.csv:1: header: empty"},
		{"seconds,channel\n", "r.csv:1: value: no such column"},
		{"seconds,channel,value,value\n", "r.csv:1: value: two columns"},
		{head, "r.csv: rows: none"},
		{head + "x,co,1,\n", `r.csv:2: seconds: "x": a number`},
		{head + "-1,co,1,\n", `r.csv:2: seconds: "-1"`},
		{head + "1,smell,1,\n", `r.csv:2: channel: "smell": no such channel`},
		{head + "1,co,,\n", "r.csv:2: value: empty, and no fault says why"},
		{head + "1,co,NaN,\n", `r.csv:2: value: "NaN": a finite number`},
		{head + "1,co,1,\n2,co,,broken\n", `r.csv:3: fault: "broken": no fault word`},
		{head + "1,co,,good\n", `r.csv:2: fault: "good": no fault word`},
		{head + "1,co,7,stale\n", `r.csv:2: value: "7" beside fault stale`},
		{head + "1,co,\"7\n", "r.csv:2: row: "},
	} {
		rows, err := readRecording("r.csv", strings.NewReader(c.text), twoChannels)
		if err == nil || rows != nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%q: %v\nwant %s", c.text, err, c.want)
		}
	}
}

// What is read is sorted, finite or at fault, and reads the same when it is
// written again.
func FuzzRecording(f *testing.F) {
	f.Add("seconds,channel,value,fault\n1,co,25,\n2,co,,stale\n1.5,wall_near,1000,clipped_high\n")
	f.Add("# a remark\nfault,extra,value,channel,seconds\n,x,3,co,0\n")
	f.Add("\ufeffseconds,channel,value\n0,co,1e300\n")
	f.Add("seconds,channel,value\n0,co\n")
	f.Fuzz(func(t *testing.T, text string) {
		rows, err := readRecording("r.csv", strings.NewReader(text), twoChannels)
		if err != nil {
			if rows != nil {
				t.Fatalf("%d rows beside %v", len(rows), err)
			}
			return
		}
		var b strings.Builder
		w := csv.NewWriter(&b)
		w.Write([]string{"seconds", "channel", "value", "fault"})
		last := time.Duration(0)
		for _, s := range rows {
			if s.at < last || math.IsInf(s.value, 0) || s.status <= sensors.Unknown || math.IsNaN(s.value) && s.status == sensors.Good {
				t.Fatalf("%+v after %v", s, last)
			}
			last = s.at
			value, fault := "", ""
			if !math.IsNaN(s.value) {
				value = strconv.FormatFloat(s.value, 'g', -1, 64)
			}
			if s.status != sensors.Good {
				fault = s.status.String()
			}
			w.Write([]string{strconv.FormatFloat(s.at.Seconds(), 'f', 3, 64), s.channel, value, fault})
		}
		w.Flush()
		again, err := readRecording("r.csv", strings.NewReader(b.String()), twoChannels)
		if err != nil || fmt.Sprint(again) != fmt.Sprint(rows) {
			t.Fatalf("%v, %v\nwant %v", again, err, rows)
		}
	})
}
